package netting

import (
	"fmt"
	"sort"
	"time"

	"millbase/inventory/mass"
)

// Need is a batch's need of a material at a moment.
type Need struct {
	ID   string
	At   time.Time
	Mass mass.Mass
}

// Receipt is an open order, due at a moment.
type Receipt struct {
	ID   string
	At   time.Time
	Mass mass.Mass
}

// Cover is a part of a need and where it comes from.
type Cover struct {
	Receipt string // empty: from stock
	Mass    mass.Mass
	Late    time.Duration // by how much the receipt comes after the need
}

// Pegged is one need with all that covers it. The covers and Short add up to
// the need.
type Pegged struct {
	Need
	Covers []Cover
	Late   mass.Mass // the part that comes late
	Short  mass.Mass // the part that nothing covers
}

// Peg says which batch gets what: needs in the order of their moments (then by
// id) take stock first, then receipts in the order in which they are due. So
// the batches that are short are the last ones, and each is told what it waits
// for. ErrInput on a negative mass.
func Peg(onHand mass.Mass, receipts []Receipt, needs []Need) ([]Pegged, error) {
	if onHand < 0 {
		return nil, fmt.Errorf("%w: %s on hand", ErrInput, onHand)
	}
	supply := append([]Receipt{{Mass: onHand}}, receipts...)
	for _, r := range supply {
		if r.Mass < 0 {
			return nil, fmt.Errorf("%w: order %q of %s", ErrInput, r.ID, r.Mass)
		}
	}
	due := supply[1:]
	sort.SliceStable(due, func(a, b int) bool { return sooner(due[a].At, due[b].At, due[a].ID, due[b].ID) })
	order := append([]Need(nil), needs...)
	sort.SliceStable(order, func(a, b int) bool { return sooner(order[a].At, order[b].At, order[a].ID, order[b].ID) })

	out := make([]Pegged, 0, len(order))
	k := 0 // the supply that is being used up
	for _, n := range order {
		if n.Mass < 0 {
			return nil, fmt.Errorf("%w: batch %q needs %s", ErrInput, n.ID, n.Mass)
		}
		p := Pegged{Need: n, Short: n.Mass}
		for p.Short > 0 && k < len(supply) {
			take := min(supply[k].Mass, p.Short)
			if take == 0 {
				k++
				continue
			}
			c := Cover{Receipt: supply[k].ID, Mass: take}
			if k > 0 && supply[k].At.After(n.At) {
				c.Late = supply[k].At.Sub(n.At)
				p.Late += take
			}
			supply[k].Mass -= take
			p.Short -= take
			p.Covers = append(p.Covers, c)
		}
		out = append(out, p)
	}
	return out, nil
}

func sooner(a, b time.Time, idA, idB string) bool {
	if !a.Equal(b) {
		return a.Before(b)
	}
	return idA < idB
}
