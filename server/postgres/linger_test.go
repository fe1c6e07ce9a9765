package postgres

import (
	"testing"
	"time"
)

// gathererOf has so many calls waiting, and no writer.
func gathererOf(n, limit int) *gatherer {
	g := &gatherer{limit: limit, enough: 1, wake: make(chan struct{}, 1), closed: make(chan struct{})}
	for range n {
		g.queue(&call{})
	}
	return g
}

// trip is long enough for a busy machine.
const trip = 20 * time.Second

// The callers of the last set and those who wait already make one set.
func TestAwaitGathersThoseWhoComeBack(t *testing.T) {
	g, l := gathererOf(2, 100), linger{missed: 3}
	l.landed(3, trip)
	go func() {
		for range 3 {
			time.Sleep(time.Millisecond)
			g.queue(&call{})
		}
	}()
	g.await(&l)
	if calls, ok := g.gather(); !ok || len(calls) != 5 {
		t.Errorf("a set of %d, want 5", len(calls))
	}
	if l.missed != 0 || l.skip != 0 {
		t.Errorf("what was not in vain counts as such: %+v", l)
	}
}

// Nobody waits who is alone, whose set is full, or who comes after a pause.
func TestAwaitOfNobody(t *testing.T) {
	for name, c := range map[string]struct {
		waiting, size int
		took          time.Duration
	}{
		"alone":               {0, 1, trip},
		"full":                {4, 3, trip},
		"after a pause":       {1, 3, 0},
		"trip of no overhead": {1, 1000, 1000 * perCall},
	} {
		g, l := gathererOf(c.waiting, 4), linger{}
		l.landed(c.size, c.took)
		start := time.Now()
		g.await(&l)
		if took := time.Since(start); took > trip/4 {
			t.Errorf("%s: waited %v", name, took)
		}
		if l.missed != 0 {
			t.Errorf("%s: counts as waiting in vain", name)
		}
	}
}

// A writer whose callers stay away sets out with those who are there, and waits
// less and less often.
func TestAwaitInVain(t *testing.T) {
	g, l := gathererOf(1, 100), linger{}
	for want := 2; want <= 64; want *= 2 {
		l.landed(5, 5*perCall+2*time.Millisecond)
		g.await(&l)
		if l.skip != want {
			t.Fatalf("skips %d sets, want %d", l.skip, want)
		}
		for l.skip > 0 {
			l.landed(5, trip)
			g.await(&l) // would take for ever
		}
	}
	if calls, ok := g.gather(); !ok || len(calls) != 1 {
		t.Errorf("a set of %d, want 1", len(calls))
	}
}

// A set is at most of the limit, and another writer is called for the rest;
// callers who have given up are left out.
func TestGatherTakesTheLimit(t *testing.T) {
	g := gathererOf(7, 4)
	g.waiting[0].state.Store(given)
	for _, want := range []int{3, 3} {
		if calls, ok := g.gather(); !ok || len(calls) != want {
			t.Errorf("a set of %d, want %d", len(calls), want)
		}
		if rest := len(g.waiting); rest > 0 && len(g.wake) == 0 {
			t.Errorf("%d wait, and no writer is called", rest)
		}
	}
	close(g.closed)
	g.take()
	select {
	case <-g.wake:
	default:
	}
	if calls, ok := g.gather(); ok {
		t.Errorf("a closed gatherer gathers %d", len(calls))
	}
}
