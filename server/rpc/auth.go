package rpc

import (
	"context"
	"crypto/sha256"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"

	"millbase/server/app"
)

const (
	usualKeyCache = 3 * time.Second
	maxCachedKeys = 10_000
)

// keyring tells who a call's key belongs to. It remembers known keys, by their
// digest, for a few seconds; unknown ones are never remembered.
type keyring struct {
	book  *app.Book
	keeps time.Duration
	log   *slog.Logger

	mu     sync.RWMutex
	cached map[[sha256.Size]byte]knownKey
}

type knownKey struct {
	caller app.Caller
	until  time.Time
}

func newKeyring(book *app.Book, keeps time.Duration, log *slog.Logger) *keyring {
	if keeps <= 0 {
		keeps = usualKeyCache
	}
	return &keyring{book: book, keeps: keeps, log: log, cached: map[[sha256.Size]byte]knownKey{}}
}

func (k *keyring) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if open(info.FullMethod) {
		return handler(ctx, req)
	}
	caller, err := k.identify(ctx, metadata.ValueFromIncomingContext(ctx, "authorization"))
	if err != nil {
		return nil, err
	}
	noteCaller(ctx, caller.Key)
	resp, err := handler(app.WithCaller(ctx, caller), req)
	if strings.HasSuffix(info.FullMethod, "/RevokeKey") {
		k.forget()
	}
	return resp, err
}

// known is Chain.Identify.
func (k *keyring) known(ctx context.Context, authorization []string) error {
	_, err := k.identify(ctx, authorization)
	return err
}

// identify finds the caller by the values of the authorization header.
func (k *keyring) identify(ctx context.Context, authorization []string) (app.Caller, error) {
	if len(authorization) == 0 {
		return app.Caller{}, unauthenticated("An API key is needed: send it as \"authorization: Bearer <key>\".")
	}
	scheme, secret, ok := strings.Cut(authorization[0], " ")
	if len(authorization) > 1 || !ok || !strings.EqualFold(scheme, "bearer") || secret == "" {
		return app.Caller{}, unauthenticated("The authorization can't be read: send one, as \"authorization: Bearer <key>\".")
	}
	caller, err := k.caller(ctx, sha256.Sum256([]byte(secret)))
	if errors.Is(err, app.ErrNotFound) {
		return app.Caller{}, unauthenticated("The API key is not known, or it was revoked; ask your administrator for a new one.")
	}
	if err != nil {
		return app.Caller{}, statusOf(ctx, err, k.log)
	}
	return caller, nil
}

func unauthenticated(message string) error {
	return detailed(codes.Unauthenticated, message, &errdetails.ErrorInfo{Domain: domain, Reason: "UNAUTHENTICATED"})
}

func (k *keyring) caller(ctx context.Context, digest [sha256.Size]byte) (app.Caller, error) {
	now := time.Now()
	k.mu.RLock()
	found, ok := k.cached[digest]
	k.mu.RUnlock()
	if ok && now.Before(found.until) {
		return found.caller, nil
	}
	caller, err := k.book.Authenticate(ctx, digest[:])
	if err != nil {
		return app.Caller{}, err
	}
	k.mu.Lock()
	if len(k.cached) >= maxCachedKeys {
		clear(k.cached)
	}
	k.cached[digest] = knownKey{caller, now.Add(k.keeps)}
	k.mu.Unlock()
	return caller, nil
}

func (k *keyring) forget() {
	k.mu.Lock()
	clear(k.cached)
	k.mu.Unlock()
}
