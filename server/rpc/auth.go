package rpc

import (
	"context"
	"crypto/sha256"
	"errors"
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

	mu    sync.RWMutex
	known map[[sha256.Size]byte]knownKey
}

type knownKey struct {
	caller app.Caller
	until  time.Time
}

func newKeyring(book *app.Book, keeps time.Duration) *keyring {
	if keeps <= 0 {
		keeps = usualKeyCache
	}
	return &keyring{book: book, keeps: keeps, known: map[[sha256.Size]byte]knownKey{}}
}

func (k *keyring) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if open(info.FullMethod) {
		return handler(ctx, req)
	}
	secret, err := bearer(ctx)
	if err != nil {
		return nil, err
	}
	caller, err := k.caller(ctx, sha256.Sum256([]byte(secret)))
	if errors.Is(err, app.ErrNotFound) {
		return nil, unauthenticated("The API key is not known, or it was revoked; ask your administrator for a new one.")
	}
	if err != nil {
		return nil, statusOf(ctx, err, nil)
	}
	noteCaller(ctx, caller.Key)
	resp, err := handler(app.WithCaller(ctx, caller), req)
	if strings.HasSuffix(info.FullMethod, "/RevokeKey") {
		k.forget()
	}
	return resp, err
}

func bearer(ctx context.Context) (string, error) {
	values := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(values) == 0 {
		return "", unauthenticated("An API key is needed: send it as \"authorization: Bearer <key>\".")
	}
	scheme, secret, ok := strings.Cut(values[0], " ")
	if len(values) > 1 || !ok || !strings.EqualFold(scheme, "bearer") || secret == "" {
		return "", unauthenticated("The authorization can't be read: send one, as \"authorization: Bearer <key>\".")
	}
	return secret, nil
}

func unauthenticated(message string) error {
	return detailed(codes.Unauthenticated, message, &errdetails.ErrorInfo{Domain: domain, Reason: "UNAUTHENTICATED"})
}

func (k *keyring) caller(ctx context.Context, digest [sha256.Size]byte) (app.Caller, error) {
	now := time.Now()
	k.mu.RLock()
	found, ok := k.known[digest]
	k.mu.RUnlock()
	if ok && now.Before(found.until) {
		return found.caller, nil
	}
	caller, err := k.book.Authenticate(ctx, digest[:])
	if err != nil {
		return app.Caller{}, err
	}
	k.mu.Lock()
	if len(k.known) >= maxCachedKeys {
		clear(k.known)
	}
	k.known[digest] = knownKey{caller, now.Add(k.keeps)}
	k.mu.Unlock()
	return caller, nil
}

func (k *keyring) forget() {
	k.mu.Lock()
	clear(k.known)
	k.mu.Unlock()
}
