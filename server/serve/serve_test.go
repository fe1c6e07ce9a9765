package serve_test

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"

	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/server/serve"
	"millbase/server/servertest"
	"millbase/solver/engines"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// Reflection tells what the API is, as /openapi.json does, and needs no key.
func TestReflection(t *testing.T) {
	s := servertest.Start(t)
	stream, err := reflectionpb.NewServerReflectionClient(s.As("")).ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}}); err != nil {
		t.Fatal(err)
	}
	answer, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	names := answer.GetListServicesResponse().String()
	for _, want := range []string{"millbase.v1.LotService", "millbase.v1.OptimiserService", "millbase.v1.LeadTimeService", "grpc.health.v1.Health"} {
		if !strings.Contains(names, want) {
			t.Errorf("%s is not listed", want)
		}
	}
}

// slow is a book's clock that holds a call up until it is let go.
type slow struct {
	entered chan struct{}
	letGo   chan struct{}
}

func (s *slow) now() time.Time {
	select {
	case s.entered <- struct{}{}:
		<-s.letGo
	default:
	}
	return time.Now()
}

// A call at work when the server stops is finished, and no new one is taken.
func TestStopFinishesCallsAtWork(t *testing.T) {
	clock := &slow{make(chan struct{}), make(chan struct{})}
	book := app.New(pgtest.New(t), engines.New(), clock.now)
	if _, err := book.PutPlant(t.Context(), servertest.Plant(), 0); err != nil {
		t.Fatal(err)
	}
	_, secret, err := book.CreateKey(t.Context(), "floor", "Floor", app.Floor)
	if err != nil {
		t.Fatal(err)
	}
	server, err := serve.New(serve.Config{Book: book, GRPCAddr: "127.0.0.1:0", HTTPAddr: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx) }()

	answered := make(chan error, 1)
	go func() { // asks for stock as of a moment, which looks at the clock
		req, err := http.NewRequest(http.MethodGet, "http://"+server.HTTPAddr()+"/v1/balances?as_of=2026-01-01T00:00:00Z", nil)
		if err == nil {
			req.Header.Set("Authorization", "Bearer "+secret)
			var resp *http.Response
			if resp, err = http.DefaultClient.Do(req); err == nil {
				resp.Body.Close()
				if resp.StatusCode != http.StatusOK {
					err = errors.New(resp.Status)
				}
			}
		}
		answered <- err
	}()
	<-clock.entered
	stop()
	time.Sleep(100 * time.Millisecond)
	if _, err := http.Get("http://" + server.HTTPAddr() + "/healthz"); err == nil {
		t.Error("a call was taken after the stop")
	}
	close(clock.letGo)
	if err := <-answered; err != nil {
		t.Errorf("the call at work: %v", err)
	}
	if err := <-done; err != nil {
		t.Errorf("stopping: %v", err)
	}
}

// With the database gone the service says so: unready, not serving, unavailable.
func TestDatabaseGone(t *testing.T) {
	store := pgtest.New(t)
	book := app.New(store, engines.New(), time.Now)
	server, err := serve.New(serve.Config{Book: book, GRPCAddr: "127.0.0.1:0", HTTPAddr: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	store.Close()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Run(ctx) }()
	defer func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	resp, err := http.Get("http://" + server.HTTPAddr() + "/readyz")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("/readyz says %d", resp.StatusCode)
	}
	conn, err := grpc.NewClient(server.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	for range 50 { // the health service is set within moments of the start
		answer, err := healthpb.NewHealthClient(conn).Check(t.Context(), &healthpb.HealthCheckRequest{})
		if err == nil && answer.GetStatus() == healthpb.HealthCheckResponse_NOT_SERVING {
			return
		}
		if code := status.Code(err); code != codes.OK && code != codes.Unavailable {
			t.Fatal(err)
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Error("the health service does not notice")
}

func TestAddressTaken(t *testing.T) {
	s := servertest.Start(t)
	for _, cfg := range []serve.Config{{GRPCAddr: s.GRPC, HTTPAddr: "127.0.0.1:0"}, {GRPCAddr: "127.0.0.1:0", HTTPAddr: s.GRPC}} {
		cfg.Book = s.Book
		if _, err := serve.New(cfg); err == nil || !strings.Contains(err.Error(), "name another one") {
			t.Errorf("%s and %s: %v", cfg.GRPCAddr, cfg.HTTPAddr, err)
		}
	}
}
