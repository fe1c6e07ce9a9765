package rpc

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"
	"time"

	"github.com/grpc-ecosystem/go-grpc-middleware/providers/prometheus"
	"github.com/grpc-ecosystem/go-grpc-middleware/v2/interceptors/recovery"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"millbase/server/app"
)

// Times within which a call must be done, where the configuration names none.
const (
	DefaultTimeout = 30 * time.Second // of a call that brings no deadline
	MaxTimeout     = 5 * time.Minute  // of any call
)

// Config is what the chain needs.
type Config struct {
	Book    *app.Book
	Log     *slog.Logger              // nil is silence
	Metrics *prometheus.ServerMetrics // nil is none
	// Timeout is given to a call without a deadline, MaxTimeout bounds any;
	// zero takes the constants of this package.
	Timeout    time.Duration
	MaxTimeout time.Duration
	// KeyCache is how long a key's role is believed without asking the book; zero
	// is 3 s. A revoked key works at most that long on another replica.
	KeyCache time.Duration
}

// Chain is what every call passes before its handler. The same Chain serves the
// TCP server and the gateway's in-process channel.
type Chain struct {
	Unary  grpc.UnaryServerInterceptor
	Stream grpc.StreamServerInterceptor
	// Identify refuses values of the authorization header that carry no good
	// key, as Unary would; the gateway asks before it reads a body.
	Identify func(ctx context.Context, authorization []string) error
}

// NewChain builds the chain. It fails on a method of this API that does not say
// who may call it, and on request rules that can't be compiled.
func NewChain(cfg Config) (*Chain, error) {
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	access, err := newAccess()
	if err != nil {
		return nil, err
	}
	if err := requestRules.ready(); err != nil {
		return nil, err
	}
	keys := newKeyring(cfg.Book, cfg.KeyCache, cfg.Log)
	recovered := recovery.WithRecoveryHandlerContext(func(ctx context.Context, p any) error {
		cfg.Log.ErrorContext(ctx, "a call panicked", "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
		return status.Error(codes.Internal, internalText)
	})
	unary := []grpc.UnaryServerInterceptor{
		logged(cfg.Log),
		recovery.UnaryServerInterceptor(recovered),
		deadline(cfg.Timeout, cfg.MaxTimeout),
		keys.unary,
		access.unary,
		validated,
		translated(cfg.Log),
	}
	stream := []grpc.StreamServerInterceptor{
		recovery.StreamServerInterceptor(recovered),
		openStreamsOnly,
	}
	if cfg.Metrics != nil {
		unary = append([]grpc.UnaryServerInterceptor{cfg.Metrics.UnaryServerInterceptor()}, unary...)
		stream = append([]grpc.StreamServerInterceptor{cfg.Metrics.StreamServerInterceptor()}, stream...)
	}
	return &Chain{Unary: chainUnary(unary), Stream: chainStream(stream), Identify: keys.known}, nil
}

// open reports whether a method belongs to health or reflection, which need no
// key: they tell no more than /healthz and /openapi.json do.
func open(method string) bool {
	return strings.HasPrefix(method, "/grpc.health.v1.") || strings.HasPrefix(method, "/grpc.reflection.")
}

// openStreamsOnly refuses streams: the API has none beside health and
// reflection, and no check here would guard one.
func openStreamsOnly(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	if !open(info.FullMethod) {
		return status.Error(codes.PermissionDenied, "This service has no streaming methods.")
	}
	return handler(srv, ss)
}

// deadline gives a call without one the usual time, and cuts a longer one.
func deadline(usual, most time.Duration) grpc.UnaryServerInterceptor {
	if most <= 0 {
		most = MaxTimeout
	}
	if usual <= 0 {
		usual = DefaultTimeout
	}
	usual = min(usual, most)
	return func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		limit := most
		if _, has := ctx.Deadline(); !has {
			limit = usual
		}
		ctx, cancel := context.WithTimeout(ctx, limit)
		defer cancel()
		return handler(ctx, req)
	}
}

// translated turns the errors of the use cases into statuses.
func translated(log *slog.Logger) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		resp, err := handler(ctx, req)
		if err == nil {
			return resp, nil
		}
		return nil, statusOf(ctx, err, log)
	}
}

func chainUnary(chain []grpc.UnaryServerInterceptor) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		return nextUnary(chain, info, handler)(ctx, req)
	}
}

func nextUnary(rest []grpc.UnaryServerInterceptor, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) grpc.UnaryHandler {
	if len(rest) == 0 {
		return handler
	}
	return func(ctx context.Context, req any) (any, error) {
		return rest[0](ctx, req, info, nextUnary(rest[1:], info, handler))
	}
}

func chainStream(chain []grpc.StreamServerInterceptor) grpc.StreamServerInterceptor {
	return func(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		next := handler
		for i := len(chain) - 1; i >= 0; i-- {
			inner, step := next, chain[i]
			next = func(srv any, ss grpc.ServerStream) error { return step(srv, ss, info, inner) }
		}
		return next(srv, ss)
	}
}
