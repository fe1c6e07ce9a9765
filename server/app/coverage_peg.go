package app

import (
	"context"
	"slices"
	"strings"
	"time"

	"millbase/inventory/mass"
)

// PeggedNeed is one need of a material with all that covers it.
type PeggedNeed struct {
	Material string
	Title    string
	Date     time.Time
	Quantity mass.Mass
	Batches  []string // that it is for; none: for stock
	Covers   []PegCover
	Short    mass.Mass // what nothing covers, planned orders included
}

// PegCover is a part of a need and where it comes from.
type PegCover struct {
	Source   string // "stock", "planned", "purchaseOrders/po-118" or "batches/b-7"
	Supplier string // of a planned order; empty: made here
	Quantity mass.Mass
	Arrival  time.Time // zero for stock
	LateDays int       // by which it comes after the need
}

// Where a cover comes from when it is no order and no batch.
const (
	coverStock   = "stock"
	coverPlanned = "planned"
)

// Pegging is what a batch waits for, or what hangs on an order or a batch.
type Pegging struct {
	Name string
	// Needs of the batch, through all levels, with all that covers them.
	Needs []PeggedNeed
	// Serves are the needs that take from the order, or from what the batch makes,
	// with that cover alone.
	Serves []PeggedNeed
	// Free is what of it no need takes, by material.
	Free map[string]mass.Mass
}

// pegged are the needs of a material by date.
func (n *netter) pegged(material string) []PeggedNeed {
	r := n.rows[material]
	var out []PeggedNeed
	for _, p := range r.pegs {
		need := PeggedNeed{Material: material, Title: n.s.title(material), Date: p.At, Quantity: p.Mass, Short: p.Short,
			Batches: r.demands[pegIndex(p.ID)].batches}
		for _, c := range p.Covers {
			cover := PegCover{Source: coverStock, Quantity: c.Mass, LateDays: int(c.Late / (24 * time.Hour))}
			switch {
			case c.Receipt == "":
			case c.Receipt[:1] == pegArrival:
				a := r.arrivals[pegIndex(c.Receipt)]
				cover.Source, cover.Arrival = a.source, n.date(a.day)
			default:
				o := r.orders[pegIndex(c.Receipt)]
				cover.Source, cover.Supplier, cover.Arrival = coverPlanned, o.Supplier, n.arrives(o)
			}
			need.Covers = append(need.Covers, cover)
		}
		out = append(out, need)
	}
	return out
}

// Pegging answers both ways for one purchase order ("purchaseOrders/po-118") or
// batch ("batches/b-7") that is still open, over the longest horizon of the board.
func (b *Book) Pegging(ctx context.Context, name string) (Pegging, error) {
	var s *supply
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		if err := known(ctx, tx, name); err != nil {
			return err
		}
		s, err = b.loadSupply(ctx, tx)
		return err
	})
	if err != nil {
		return Pegging{}, err
	}
	n, err := s.board(monday(s.today), maxWeeks*7)
	if err != nil {
		return Pegging{}, err
	}
	return n.pegging(name), nil
}

// known refuses a name that is not in the book.
func known(ctx context.Context, tx Tx, name string) error {
	collection, id, _ := strings.Cut(name, "/")
	var err error
	if collection == "batches" {
		_, err = tx.Batches().Get(ctx, id)
	} else {
		_, err = getOrder(ctx, tx, id)
	}
	return err
}

func (n *netter) pegging(name string) Pegging {
	out := Pegging{Name: name, Free: map[string]mass.Mass{}}
	collection, batchID, _ := strings.Cut(name, "/")
	if collection != "batches" {
		batchID = ""
	}
	for _, material := range sortedKeys(n.rows) {
		for _, a := range n.rows[material].arrivals {
			if a.source == name {
				out.Free[material] += a.quantity
			}
		}
		for _, need := range n.pegged(material) {
			if batchID != "" && slices.Contains(need.Batches, batchID) {
				out.Needs = append(out.Needs, need)
			}
			own := need
			own.Covers, own.Short = nil, 0
			for _, c := range need.Covers {
				if c.Source == name {
					own.Covers = append(own.Covers, c)
					out.Free[material] -= c.Quantity
				}
			}
			if len(own.Covers) > 0 {
				out.Serves = append(out.Serves, own)
			}
		}
	}
	return out
}
