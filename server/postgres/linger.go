package postgres

import "time"

// linger is how a writer waits for the callers that it has just answered. Who
// posts one movement after the other comes back at about the same moment: to set
// out with the first of them would leave the rest to a trip of their own, with a
// flush of the disk of its own. A caller who is alone, or comes after a pause,
// never waits.
type linger struct {
	size   int       // of the last set
	until  time.Time // when the writer sets out with those who are there
	missed int       // how often of late it waited in vain
	skip   int       // sets for which it does not wait
}

// perCall is about what each movement adds to a trip to the database. What is
// left of a trip is what a set saves by taking the others along.
const perCall = 30 * time.Microsecond

// landed notes that a set of some size is in the ledger, after a trip that took
// so long. Waiting pays while it takes less than the trip that it saves.
func (l *linger) landed(size int, took time.Duration) {
	l.size, l.until = size, time.Now().Add((took-time.Duration(size)*perCall)/2)
}

// outcome notes whether those waited for came. After waiting in vain a writer
// does without for some sets, and for more each time.
func (l *linger) outcome(came bool) {
	if came {
		l.missed = 0
		return
	}
	l.missed = min(l.missed+1, 6)
	l.skip = 1 << l.missed
}

// await waits, within bounds, until the callers of the last set and those who
// wait already make one set.
func (g *gatherer) await(l *linger) {
	if l.skip > 0 {
		l.skip--
		return
	}
	wait := time.Until(l.until)
	if wait <= 0 || !g.expect(l.size) {
		return
	}
	defer g.expect(0)
	late := time.NewTimer(wait)
	defer late.Stop()
	select {
	case <-g.wake:
		l.outcome(true)
	case <-late.C:
		l.outcome(false)
	case <-g.closed:
	}
}

// expect lets writers be called when so many calls wait beyond those that do
// already, or with 0 by the first. It reports whether there is anything to wait
// for.
func (g *gatherer) expect(more int) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.enough = 1
	if more > 0 {
		g.enough = min(len(g.waiting)+more, g.limit)
	}
	if g.enough == 1 || len(g.waiting) >= g.enough {
		return false
	}
	select {
	case <-g.wake: // those who wait already called
	default:
	}
	return true
}
