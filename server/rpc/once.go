package rpc

import (
	"crypto/sha256"

	"google.golang.org/protobuf/proto"

	"millbase/server/app"
)

// requestOf is the request id of a create with a digest of the whole request, so
// that a replay is told from the same id with other content. An empty id is the
// zero Request: the caller did not ask for it.
func requestOf(method, id string, req proto.Message) (app.Request, error) {
	if id == "" {
		return app.Request{}, nil
	}
	raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(req)
	if err != nil {
		return app.Request{}, err
	}
	sum := sha256.Sum256(raw)
	return app.Request{ID: id, Method: method, Digest: sum[:]}, nil
}
