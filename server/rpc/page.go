package rpc

import (
	"crypto/sha256"
	"encoding/base64"
	"strings"

	"millbase/server/app"
)

const (
	defaultPageSize = 50
	maxPageSize     = 1000
)

// page is one page of a list (AIP-158).
type page struct {
	size  int
	after string // id of the last row of the page before
	bound [8]byte
}

// readPage reads page size and token. bound are the values that the list
// depends on (filter, parent, moment): a token is only good for the same ones.
func readPage(size int32, token string, bound ...string) (page, error) {
	p := page{size: int(size), bound: digest8(bound)}
	switch {
	case size < 0:
		return page{}, app.InvalidField("page_size", "must not be below 0; leave it out for %d", defaultPageSize)
	case size == 0:
		p.size = defaultPageSize
	case size > maxPageSize:
		p.size = maxPageSize
	}
	if token == "" {
		return p, nil
	}
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil || len(raw) <= len(p.bound) {
		return page{}, app.InvalidField("page_token", "is not one that this service gave; send next_page_token of the page before, or leave it out")
	}
	if [8]byte(raw[:8]) != p.bound {
		return page{}, app.InvalidField("page_token", "belongs to a list with another filter; repeat the filter of the first page, or start again without a token")
	}
	p.after = string(raw[8:])
	return p, nil
}

func digest8(bound []string) [8]byte {
	sum := sha256.Sum256([]byte(strings.Join(bound, "\x00")))
	return [8]byte(sum[:8])
}

// query asks the store for the page and one row more, which tells whether there
// is another page.
func (p page) query(where []app.Condition) app.Query {
	return app.Query{Where: where, After: p.after, Limit: p.size + 1}
}

// cut drops the row too many and makes the token of the next page, empty when
// this is the last. id names a row as Query.After does.
func cut[T any](p page, rows []T, id func(T) string) (kept []T, next string) {
	if len(rows) <= p.size {
		return rows, ""
	}
	kept = rows[:p.size]
	token := append(p.bound[:], id(kept[len(kept)-1])...)
	return kept, base64.RawURLEncoding.EncodeToString(token)
}
