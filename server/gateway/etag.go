package gateway

import (
	"context"
	"hash/crc32"
	"net/http"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
)

// resource is an answer with an etag.
type resource interface{ GetEtag() string }

// etagHeader gives the etag of an answered resource to the writer below.
func etagHeader(_ context.Context, w http.ResponseWriter, m proto.Message) error {
	if r, ok := m.(resource); ok && r.GetEtag() != "" {
		w.Header().Set("Etag", r.GetEtag())
	}
	return nil
}

// etags completes the ETag header with a digest of the body, and answers 304 to
// a GET whose If-None-Match names it.
func etags(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(&etagWriter{ResponseWriter: w, request: r}, r)
	})
}

type etagWriter struct {
	http.ResponseWriter
	request *http.Request
	started bool
}

func (w *etagWriter) WriteHeader(code int) {
	w.started = true
	w.ResponseWriter.WriteHeader(code)
}

// Write gets the whole body at once from the gateway.
func (w *etagWriter) Write(body []byte) (int, error) {
	if w.started {
		return w.ResponseWriter.Write(body)
	}
	w.started = true
	header := w.Header()
	header.Set("Content-Length", strconv.Itoa(len(body)))
	if tag := header.Get("Etag"); tag != "" {
		tag = `"` + tag + "." + strconv.FormatUint(uint64(crc32.ChecksumIEEE(body)), 36) + `"`
		header.Set("Etag", tag)
		header.Set("Vary", "Authorization") // what is shown depends on the role
		if w.request.Method == http.MethodGet && names(w.request.Header.Get("If-None-Match"), tag) {
			header.Del("Content-Type")
			header.Del("Content-Length")
			w.ResponseWriter.WriteHeader(http.StatusNotModified)
			return len(body), nil
		}
	}
	return w.ResponseWriter.Write(body)
}

// names reports whether an If-None-Match header names the etag.
func names(header, etag string) bool {
	if header == "" {
		return false
	}
	for _, one := range strings.Split(header, ",") {
		one = strings.TrimSpace(one)
		if one == "*" || strings.TrimPrefix(one, "W/") == etag {
			return true
		}
	}
	return false
}
