package app

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"

	"crypto/sha256"

	"millbase/inventory"
)

// KeyPrefix begins every API key, so that a leaked one can be found by search.
const KeyPrefix = "mb_"

// NewSecret makes an API key of 256 random bits and its digest.
func NewSecret() (secret string, digest []byte) {
	var raw [32]byte
	rand.Read(raw[:]) // never fails: crypto/rand ends the process instead
	secret = KeyPrefix + base64.RawURLEncoding.EncodeToString(raw[:])
	sum := sha256.Sum256([]byte(secret))
	return secret, sum[:]
}

// Authenticate finds the caller by the SHA-256 digest of the API key. An unknown
// and a revoked key are both ErrNotFound.
func (b *Book) Authenticate(ctx context.Context, digest []byte) (Caller, error) {
	var caller Caller
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		found, err := tx.Keys().List(ctx, Query{Where: []Condition{{Field: "digest", Op: "=", Value: hex.EncodeToString(digest)}}})
		if err != nil {
			return err
		}
		for _, k := range found {
			if subtle.ConstantTimeCompare(k.Value.Digest, digest) == 1 && !k.Value.Revoked {
				caller = Caller{Key: k.Value.ID, Title: k.Value.Title, Role: Role(k.Value.Role)}
				return nil
			}
		}
		return Faultf(ErrNotFound, "KEY_UNKNOWN", "", "the API key is not known or was revoked")
	})
	return caller, err
}

// Roles lists every role.
var Roles = []Role{OrderDesk, Purchasing, InkMaker, Quality, Floor, Admin}

// Valid reports whether r is one of Roles.
func (r Role) Valid() bool {
	for _, known := range Roles {
		if r == known {
			return true
		}
	}
	return false
}

// CreateKey makes an API key and returns its secret, which is shown this once.
func (b *Book) CreateKey(ctx context.Context, id, title string, role Role) (Record[APIKey], string, error) {
	if err := inventory.CheckID(id); err != nil {
		return Record[APIKey]{}, "", InvalidField("key_id", "%s", err)
	}
	if !role.Valid() {
		return Record[APIKey]{}, "", InvalidField("key.role", "%q is not a role", string(role))
	}
	secret, digest := NewSecret()
	var made Record[APIKey]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) (err error) {
		made, err = tx.Keys().Create(ctx, APIKey{ID: id, Title: title, Role: string(role), Digest: digest})
		return err
	})
	if err != nil {
		return Record[APIKey]{}, "", err
	}
	return made, secret, nil
}

// Keys lists the keys, never their secrets.
func (b *Book) Keys(ctx context.Context, q Query) ([]Record[APIKey], error) {
	var out []Record[APIKey]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		out, err = tx.Keys().List(ctx, q)
		return err
	})
	return out, err
}

// RevokeKey ends a key; revoking it again changes nothing. The last key of an
// administrator can't be revoked: nobody could make another.
func (b *Book) RevokeKey(ctx context.Context, id string) (Record[APIKey], error) {
	var out Record[APIKey]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		k, err := tx.Keys().Get(ctx, id)
		if err != nil || k.Value.Revoked {
			out = k
			return err
		}
		if k.Value.Role == string(Admin) {
			if err := anotherAdmin(ctx, tx, id); err != nil {
				return err
			}
		}
		k.Value.Revoked = true
		out, err = tx.Keys().Update(ctx, k.Value, k.Version)
		return err
	})
	return out, err
}

func anotherAdmin(ctx context.Context, tx Tx, than string) error {
	all, err := tx.Keys().List(ctx, Query{})
	if err != nil {
		return err
	}
	for _, k := range all {
		if k.Value.ID != than && k.Value.Role == string(Admin) && !k.Value.Revoked {
			return nil
		}
	}
	return Faultf(ErrConflict, "LAST_ADMIN_KEY", "keys/"+than, "this is the last key of an administrator; make another one first")
}

// FirstKey makes the first administrator's key on a book without keys; made is
// false, and the secret empty, when there are keys already.
func (b *Book) FirstKey(ctx context.Context) (secret string, made bool, err error) {
	fresh, digest := NewSecret()
	err = b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		made = false
		some, err := tx.Keys().List(ctx, Query{Limit: 1})
		if err != nil || len(some) > 0 {
			return err
		}
		_, err = tx.Keys().Create(ctx, APIKey{ID: "admin", Title: "first administrator", Role: string(Admin), Digest: digest})
		made = err == nil
		return err
	})
	if err != nil || !made {
		return "", false, err
	}
	return fresh, true, nil
}
