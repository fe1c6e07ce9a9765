package serve

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"runtime"
	"time"

	grpcprom "github.com/grpc-ecosystem/go-grpc-middleware/providers/prometheus"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/stats"

	"millbase/server/app"
	"millbase/server/gateway"
	"millbase/server/jobs"
	"millbase/server/rpc"
)

// Config says what to serve and where.
type Config struct {
	Book     *app.Book
	GRPCAddr string // host:port; port 0 takes a free one
	HTTPAddr string
	Log      *slog.Logger // nil is silence
	// TLS serves both addresses encrypted; nil in plain.
	TLS *tls.Config
	// Timeout is given to a call that brings no deadline, MaxTimeout bounds any;
	// zero takes those of package rpc.
	Timeout    time.Duration
	MaxTimeout time.Duration
	// Grace is how long calls may go on after the stop; 0 is 20 s.
	Grace time.Duration
	// MaxBody of a request in bytes; 0 is gateway.DefaultMaxBody.
	MaxBody int64
	// Jobs does long work beside the calls; nil leaves that to other servers.
	Jobs *jobs.Queue
	// Traces hears of every call; nil for none.
	Traces stats.Handler
	// Pages serves the paths of the web pages; nil for none.
	Pages http.Handler
}

// Server serves one book.
type Server struct {
	cfg        Config
	grpc       *grpc.Server
	http       *http.Server
	health     *health.Server
	grpcListen net.Listener
	httpListen net.Listener
}

// New builds the server and takes its addresses; Run serves them.
func New(cfg Config) (*Server, error) {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	if cfg.Grace <= 0 {
		cfg.Grace = 20 * time.Second
	}
	if cfg.MaxBody <= 0 {
		cfg.MaxBody = gateway.DefaultMaxBody
	}
	if cfg.MaxTimeout <= 0 {
		cfg.MaxTimeout = rpc.MaxTimeout
	}
	s := &Server{cfg: cfg, health: health.NewServer()}
	registry, metrics := newMetrics()
	if cfg.Jobs != nil {
		registry.MustRegister(cfg.Jobs.Metrics()...)
	}
	chain, err := rpc.NewChain(rpc.Config{Book: cfg.Book, Log: cfg.Log, Metrics: metrics, Timeout: cfg.Timeout, MaxTimeout: cfg.MaxTimeout})
	if err != nil {
		return nil, err
	}
	s.grpc = s.newGRPC(chain)
	metrics.InitializeMetrics(s.grpc)
	if err := s.newHTTP(chain, registry); err != nil {
		return nil, err
	}
	return s, s.listen()
}

func newMetrics() (*prometheus.Registry, *grpcprom.ServerMetrics) {
	registry := prometheus.NewRegistry()
	metrics := grpcprom.NewServerMetrics(grpcprom.WithServerHandlingTimeHistogram(
		grpcprom.WithHistogramBuckets([]float64{.0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 10, 60})))
	registry.MustRegister(metrics, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return registry, metrics
}

func (s *Server) newGRPC(chain *rpc.Chain) *grpc.Server {
	options := []grpc.ServerOption{
		grpc.UnaryInterceptor(chain.Unary), grpc.StreamInterceptor(chain.Stream),
		grpc.MaxRecvMsgSize(int(s.cfg.MaxBody)), grpc.MaxConcurrentStreams(1000),
		// Windows of a fixed size: a server that sizes them itself asks the client by
		// a ping at nearly every request, which is a write and a wake-up more.
		grpc.StaticStreamWindowSize(1 << 20), grpc.StaticConnWindowSize(4 << 20),
		// Workers keep their stacks: a fresh goroutine per call would grow one anew.
		grpc.NumStreamWorkers(uint32(16 * runtime.GOMAXPROCS(0))),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
		grpc.KeepaliveParams(keepalive.ServerParameters{Time: time.Minute}),
	}
	if s.cfg.TLS != nil {
		options = append(options, grpc.Creds(credentials.NewTLS(s.cfg.TLS.Clone())))
	}
	if s.cfg.Traces != nil {
		options = append(options, grpc.StatsHandler(s.cfg.Traces))
	}
	server := grpc.NewServer(options...)
	rpc.Register(server, s.cfg.Book)
	healthpb.RegisterHealthServer(server, s.health)
	reflection.Register(server)
	return server
}

func (s *Server) newHTTP(chain *rpc.Chain, registry *prometheus.Registry) error {
	handler, err := gateway.New(gateway.Config{
		Unary: chain.Unary, Identify: chain.Identify, Register: func(on grpc.ServiceRegistrar) { rpc.Register(on, s.cfg.Book) },
		Stats: s.cfg.Traces, Ready: s.cfg.Book.Ready, Metrics: promhttp.HandlerFor(registry, promhttp.HandlerOpts{}),
		Pages: s.cfg.Pages, MaxBody: s.cfg.MaxBody,
	})
	s.http = &http.Server{
		Handler: handler, TLSConfig: s.cfg.TLS, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute,
		WriteTimeout: s.cfg.MaxTimeout + 30*time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ErrorLog: slog.NewLogLogger(s.cfg.Log.Handler(), slog.LevelDebug),
	}
	return err
}

func (s *Server) listen() error {
	var err error
	if s.grpcListen, err = net.Listen("tcp", s.cfg.GRPCAddr); err != nil {
		return fmt.Errorf("the address for gRPC can't be taken; name another one: %w", err)
	}
	if s.httpListen, err = net.Listen("tcp", s.cfg.HTTPAddr); err != nil {
		s.grpcListen.Close()
		return fmt.Errorf("the address for REST can't be taken; name another one: %w", err)
	}
	return nil
}

// GRPCAddr is the address that gRPC listens on.
func (s *Server) GRPCAddr() string { return s.grpcListen.Addr().String() }

// HTTPAddr is the address that REST listens on.
func (s *Server) HTTPAddr() string { return s.httpListen.Addr().String() }

// Run serves until ctx ends or an address fails, then stops taking calls, lets
// those at work finish within the grace, and returns. Long work that is not done by
// then goes to another server.
func (s *Server) Run(ctx context.Context) error {
	if s.cfg.Jobs != nil {
		if err := s.cfg.Jobs.Start(ctx); err != nil {
			s.grpcListen.Close()
			s.httpListen.Close()
			return err
		}
	}
	failed := make(chan error, 2)
	go func() { failed <- s.grpc.Serve(s.grpcListen) }()
	go func() {
		if s.cfg.TLS != nil {
			failed <- s.http.ServeTLS(s.httpListen, "", "")
		} else {
			failed <- s.http.Serve(s.httpListen)
		}
	}()
	watched, unwatch := context.WithCancel(context.Background())
	defer unwatch()
	go s.watchHealth(watched)
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
		err = fmt.Errorf("serving failed: %w", err)
	}
	unwatch()
	return errors.Join(err, s.stop())
}

// watchHealth keeps the gRPC health service in step with the database.
func (s *Server) watchHealth(ctx context.Context) {
	for {
		state := healthpb.HealthCheckResponse_SERVING
		ping, cancel := context.WithTimeout(ctx, 2*time.Second)
		if s.cfg.Book.Ready(ping) != nil {
			state = healthpb.HealthCheckResponse_NOT_SERVING
		}
		cancel()
		if ctx.Err() != nil {
			return
		}
		s.health.SetServingStatus("", state)
		for service := range s.grpc.GetServiceInfo() {
			s.health.SetServingStatus(service, state)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(5 * time.Second):
		}
	}
}

func (s *Server) stop() error {
	s.health.Shutdown()
	ctx, cancel := context.WithTimeout(context.Background(), s.cfg.Grace)
	defer cancel()
	worked := make(chan error, 1)
	go func() {
		var err error
		if s.cfg.Jobs != nil {
			err = s.cfg.Jobs.Stop(ctx)
		}
		worked <- err
	}()
	return errors.Join(s.stopCalls(ctx), <-worked)
}

func (s *Server) stopCalls(ctx context.Context) error {
	done := make(chan struct{})
	go func() {
		s.grpc.GracefulStop()
		close(done)
	}()
	err := s.http.Shutdown(ctx)
	if err != nil {
		s.http.Close()
	}
	select {
	case <-done:
	case <-ctx.Done():
		s.grpc.Stop()
		<-done
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("some calls were cut off after %s", s.cfg.Grace)
	}
	return err
}
