package servertest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"

	"millbase/server/app"
	"millbase/server/jobs"
	"millbase/server/postgres"
	"millbase/server/postgres/pgtest"
	"millbase/server/rpc"
	"millbase/server/serve"
	"millbase/solver"
	"millbase/solver/engines"
)

// Server is a running server.
type Server struct {
	Book  *app.Book
	Store *postgres.Store
	// GRPC and URL are where it listens: "127.0.0.1:1234", "http://127.0.0.1:1235".
	GRPC string
	URL  string
	// Keys are the secrets of the API keys by role. The id of a key is its role
	// with hyphens.
	Keys map[app.Role]string

	t     testing.TB
	mu    sync.Mutex // of conns
	conns map[app.Role]*grpc.ClientConn
	http  *http.Client
}

// Options change what Start starts; the zero value suits most tests.
type Options struct {
	Clock  app.Clock     // nil is the real time
	Engine solver.Engine // nil is the checked one
	Plant  *app.Plant    // nil is Plant()
	Serve  serve.Config  // Book and addresses are filled in
	// Jobs has the server work on operations: with Store, Kinds and Failure filled
	// in where they are not set. nil: they stay in the queue.
	Jobs *jobs.Config
}

// Plant is a small plant: euro, Lisbon, one shift, a few machines.
func Plant() app.Plant {
	return app.Plant{Title: "Test plant", Currency: "EUR", TimeZone: "Europe/Lisbon", WaterDensityKgPerL: 0.997, ScaleDivision: 1000}
}

// Start starts a server on a fresh database; it stops when the test ends. The
// package's TestMain must call pgtest.Main.
func Start(t testing.TB) *Server { return StartWith(t, Options{}) }

// StartWith is Start with options.
func StartWith(t testing.TB, o Options) *Server {
	t.Helper()
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Engine == nil {
		o.Engine = engines.New()
	}
	if o.Plant == nil {
		p := Plant()
		o.Plant = &p
	}
	store := pgtest.New(t)
	book := app.New(store, o.Engine, o.Clock)
	s := &Server{Book: book, Store: store, Keys: map[app.Role]string{}, t: t, conns: map[app.Role]*grpc.ClientConn{}, http: &http.Client{
		Transport:     &http.Transport{MaxIdleConnsPerHost: 64},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
	if _, err := book.PutPlant(t.Context(), *o.Plant, 0); err != nil {
		t.Fatalf("setting the plant up: %v", err)
	}
	for _, role := range app.Roles {
		_, secret, err := book.CreateKey(t.Context(), strings.ReplaceAll(string(role), "_", "-"), string(role)+" of the test", role)
		if err != nil {
			t.Fatalf("making a key: %v", err)
		}
		s.Keys[role] = secret
	}
	if o.Jobs != nil {
		o.Serve.Jobs = s.queue(*o.Jobs)
	}
	s.serve(o.Serve)
	return s
}

func (s *Server) queue(cfg jobs.Config) *jobs.Queue {
	s.t.Helper()
	cfg.Store = s.Store
	if cfg.Kinds == nil {
		cfg.Kinds = rpc.Kinds(s.Book)
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.NewTextHandler(s.t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
	}
	if cfg.Failure == nil {
		cfg.Failure = rpc.Failures(cfg.Log)
	}
	queue, err := jobs.New(cfg)
	if err != nil {
		s.t.Fatal(err)
	}
	return queue
}

func (s *Server) serve(cfg serve.Config) {
	s.t.Helper()
	cfg.Book, cfg.GRPCAddr, cfg.HTTPAddr = s.Book, "127.0.0.1:0", "127.0.0.1:0"
	if cfg.Log == nil { // what fails inside must be seen in the test's output
		cfg.Log = slog.New(slog.NewTextHandler(s.t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
	}
	server, err := serve.New(cfg)
	if err != nil {
		s.t.Fatal(err)
	}
	s.GRPC, s.URL = server.GRPCAddr(), "http://"+server.HTTPAddr()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx) }()
	s.t.Cleanup(func() {
		for _, conn := range s.conns {
			conn.Close()
		}
		s.http.CloseIdleConnections()
		stop()
		if err := <-done; err != nil {
			s.t.Errorf("the server did not stop well: %v", err)
		}
	})
}

// As is a gRPC connection with the key of the role; the empty role sends none.
func (s *Server) As(role app.Role) *grpc.ClientConn {
	s.t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if conn := s.conns[role]; conn != nil {
		return conn
	}
	conn, err := grpc.NewClient(s.GRPC, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithUnaryInterceptor(
		func(ctx context.Context, method string, req, resp any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			if role != "" {
				ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+s.Keys[role])
			}
			return invoke(ctx, method, req, resp, conn, opts...)
		}))
	if err != nil {
		s.t.Fatal(err)
	}
	s.conns[role] = conn
	return conn
}

// Response is an answer over REST.
type Response struct {
	Status int
	Header http.Header
	Raw    []byte
	Body   map[string]any // nil when it is not a JSON object
}

// REST sends a request with the key of the role (none for the empty role). body
// may be nil, a string of JSON, or a value to be encoded; headers are name and
// value in turn.
func (s *Server) REST(role app.Role, method, path string, body any, headers ...string) Response {
	s.t.Helper()
	var reader io.Reader
	switch b := body.(type) {
	case nil:
	case string:
		reader = strings.NewReader(b)
	default:
		raw, err := json.Marshal(b)
		if err != nil {
			s.t.Fatal(err)
		}
		reader = bytes.NewReader(raw)
	}
	req, err := http.NewRequestWithContext(s.t.Context(), method, s.URL+path, reader)
	if err != nil {
		s.t.Fatal(err)
	}
	if role != "" {
		req.Header.Set("Authorization", "Bearer "+s.Keys[role])
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	resp, err := s.http.Do(req)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	out := Response{Status: resp.StatusCode, Header: resp.Header}
	if out.Raw, err = io.ReadAll(resp.Body); err != nil {
		s.t.Fatal(err)
	}
	if json.Unmarshal(out.Raw, &out.Body) != nil {
		out.Body = nil
	}
	return out
}
