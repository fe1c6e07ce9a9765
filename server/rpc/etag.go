package rpc

import (
	"strconv"
	"strings"
)

// etagOut is the etag of a version.
func etagOut(version int64) string { return "v" + strconv.FormatInt(version, 10) }

// etag reads an etag as a version; an empty one is 0, which skips the check.
// The forms of HTTP are understood too: quoted, weak, and with the digest of the
// shown representation after a dot, as the gateway writes it.
func (f *fields) etag(field, etag string) int64 {
	s := strings.TrimPrefix(etag, "W/")
	if len(s) > 1 && s[0] == '"' && s[len(s)-1] == '"' {
		s = s[1 : len(s)-1]
	}
	if s == "" || s == "*" {
		return 0
	}
	s, _, _ = strings.Cut(s, ".")
	digits, ok := strings.CutPrefix(s, "v")
	version, err := strconv.ParseInt(digits, 10, 64)
	if !ok || err != nil || version < 1 {
		f.add(field, "%.40q is not an etag that this service gave; read the resource again and send its etag, or leave it out", etag)
		return 0
	}
	return version
}
