package rpc_test

import (
	"testing"

	"google.golang.org/grpc"

	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/server/servertest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// inkMaker is a connection of an ink maker to a server with an empty book.
func inkMaker(t *testing.T) *grpc.ClientConn {
	t.Helper()
	return servertest.Start(t).As(app.InkMaker)
}
