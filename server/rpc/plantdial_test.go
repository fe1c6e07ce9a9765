package rpc_test

import (
	"context"
	"log/slog"
	"net"
	"os"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/test/bufconn"

	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/server/rpc"
	"millbase/solver/checked"
	"millbase/solver/clp"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// inkMaker is a connection to a fresh book as an ink maker.
func inkMaker(t *testing.T) *grpc.ClientConn {
	t.Helper()
	conn, _ := freshBook(t, app.InkMaker)
	return conn
}

// freshBook serves an empty book through the whole chain to a caller of the role.
func freshBook(t *testing.T, role app.Role) (*grpc.ClientConn, *app.Book) {
	t.Helper()
	book := app.New(pgtest.New(t), checked.New(clp.New(), clp.NewLanl()), time.Now)
	chain, err := rpc.NewChain(rpc.Config{Book: book, Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))})
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer(grpc.ChainUnaryInterceptor(chain.Unary), grpc.ChainStreamInterceptor(chain.Stream))
	rpc.Register(server, book)
	listener := bufconn.Listen(1 << 20)
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(server.Stop)
	_, secret, err := book.CreateKey(t.Context(), string(role[:3]), "test", role)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := grpc.NewClient("passthrough:book", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(context.Context, string) (net.Conn, error) { return listener.DialContext(context.Background()) }),
		grpc.WithUnaryInterceptor(func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			return invoke(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret), method, req, reply, cc, opts...)
		}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn, book
}
