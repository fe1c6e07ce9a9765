package main

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"millbase/inventory/mass"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/postgres/pgtest"
	"millbase/server/servertest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// What the poster says it posted stands in the book, by ids of its own.
func TestPosterPostsWhatItCounts(t *testing.T) {
	s := servertest.Start(t)
	r := &rig{conn: s.As(app.Admin)}
	const lots = 3
	if err := r.fill(t.Context(), lots); err != nil {
		t.Fatal(err)
	}
	before, err := s.Book.CheckLedger(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	next := 0
	p, err := newPoster(t.Context(), s.GRPC, s.Keys[app.Floor], lots, func() int { next++; return next % lots })
	if err != nil {
		t.Fatal(err)
	}
	for _, clients := range []int{1, 8, 100} {
		had := p.posted
		if rate, err := p.run(clients, 300*time.Millisecond); err != nil || rate <= 0 {
			t.Fatalf("%d clients: %v movements/s, %v", clients, rate, err)
		}
		if p.posted-had < clients {
			t.Errorf("%d clients posted %d movements", clients, p.posted-had)
		}
	}
	if err := p.close(); err != nil {
		t.Fatal(err)
	}
	after, err := s.Book.CheckLedger(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if got := int(after.Movements - before.Movements); got != p.posted {
		t.Errorf("%d movements were counted, %d stand in the book", p.posted, got)
	}
	if want := before.InStock - after.InStock; want != mass.Mass(p.posted)*mass.Gram {
		t.Errorf("%d movements took %v out of stock", p.posted, want)
	}
}

// A refusal is an error of the run, never a movement.
func TestPosterCountsNoRefusal(t *testing.T) {
	s := servertest.Start(t)
	for name, key := range map[string]string{"no such lot": s.Keys[app.Floor], "no such key": "wrong", "no right": s.Keys[app.OrderDesk]} {
		p, err := newPoster(t.Context(), s.GRPC, key, 1, func() int { return 0 })
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.run(2, 100*time.Millisecond); err == nil || !strings.Contains(err.Error(), "not carried out") || p.posted != 0 {
			t.Errorf("%s: %d posted, error %v", name, p.posted, err)
		}
		_ = p.close()
	}
}

// The body that is put together by hand reads as the request.
func TestPostBody(t *testing.T) {
	const id = "0190f2c4-7f4e-7c1a-9d3e-5b6a7c8d9e0f"
	body, err := postBody(7)
	if err != nil {
		t.Fatal(err)
	}
	body = append(body, id...)
	if length := int(body[3])<<8 + int(body[4]); body[0] != 0 || length != len(body)-prefixSize {
		t.Errorf("prefix %v before %d bytes", body[:prefixSize], len(body)-prefixSize)
	}
	var got pb.CreateMovementRequest
	if err := proto.Unmarshal(body[prefixSize:], &got); err != nil {
		t.Fatal(err)
	}
	if want := (&pb.CreateMovementRequest{MovementId: id, Movement: movement(7)}); !proto.Equal(&got, want) {
		t.Errorf("got %v, want %v", &got, want)
	}
}
