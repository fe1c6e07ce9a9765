package rpc_test

import (
	"context"
	"net"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/test/bufconn"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/server/rpc"
	"millbase/server/servertest"
	"millbase/solver/engines"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// inkMaker is a connection of an ink maker to a server with an empty book.
func inkMaker(t *testing.T) *grpc.ClientConn {
	t.Helper()
	return servertest.Start(t).As(app.InkMaker)
}

// freshBook serves a book in which not even the plant's figures are entered,
// through the whole chain, to a caller of the role.
func freshBook(t *testing.T, role app.Role) (*grpc.ClientConn, *app.Book) {
	t.Helper()
	book := app.New(pgtest.New(t), engines.New(), time.Now)
	chain, err := rpc.NewChain(rpc.Config{Book: book})
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer(grpc.ChainUnaryInterceptor(chain.Unary), grpc.ChainStreamInterceptor(chain.Stream))
	rpc.Register(server, book)
	listener := bufconn.Listen(1 << 20)
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(server.Stop)
	_, secret, err := book.CreateKey(t.Context(), "test", "test", role)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := grpc.NewClient("passthrough:book", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
		grpc.WithUnaryInterceptor(func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			return invoke(metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret), method, req, reply, cc, opts...)
		}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn, book
}

// A plant that has entered nothing yet can optimise what stands in the request.
func TestInlineNeedsNoBook(t *testing.T) {
	conn, _ := freshBook(t, app.InkMaker)
	out := must[*pb.OptimiseResponse](t)(pb.NewOptimiserServiceClient(conn).Optimise(t.Context(), sheetfed()))
	if out.GetOutcome() != pb.OptimiseOutcome_OPTIMISE_OUTCOME_OPTIMAL || out.GetCurrencyCode() != "EUR" || out.GetDate() == "" {
		t.Errorf("%v", out)
	}
}
