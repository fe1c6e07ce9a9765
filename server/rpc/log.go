package rpc

import (
	"context"
	"log/slog"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// callNote is filled in further down the chain for the line of the log.
type callNote struct{ key string }

type callNoteKey struct{}

// noteCaller tells the log whose key a call came with.
func noteCaller(ctx context.Context, key string) {
	if note, ok := ctx.Value(callNoteKey{}).(*callNote); ok {
		note.key = key
	}
}

// logged writes one line per call: what was carried out at level debug, what was
// refused at info, what we failed at as a warning. Requests and answers are
// never logged: they hold formulas and costs.
func logged(log *slog.Logger) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		start, note := time.Now(), &callNote{}
		resp, err := handler(context.WithValue(ctx, callNoteKey{}, note), req)
		code := status.Code(err)
		level := levelOf(code)
		if log.Enabled(ctx, level) {
			log.LogAttrs(ctx, level, "call", slog.String("method", info.FullMethod), slog.String("code", code.String()),
				slog.Duration("took", time.Since(start)), slog.String("key", note.key))
		}
		return resp, err
	}
}

func levelOf(code codes.Code) slog.Level {
	switch code {
	case codes.OK:
		return slog.LevelDebug
	case codes.Internal, codes.Unknown, codes.DataLoss, codes.Unavailable, codes.DeadlineExceeded:
		return slog.LevelWarn
	}
	return slog.LevelInfo
}
