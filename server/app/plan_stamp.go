package app

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"millbase/costing/purchase"
	"millbase/inventory"
)

// planStamps is what a plan rests on: a digest of everything of the book that it
// looked at, by name.
type planStamps map[string]string

// stamp digests what the planning reads of the book. Packaging takes no part.
func (j *jointPlanning) stamp() planStamps {
	out := planStamps{}
	put := func(name string, parts ...any) { out[name] = digestOf(parts...) }
	packaging := func(material string) bool { return j.supply.materials[material].Class == inventory.Packaging }
	put("plant", j.supply.plant)
	for id, m := range j.supply.materials {
		if !packaging(id) {
			put("materials/"+id, m)
		}
	}
	for _, l := range j.room.lots {
		if !packaging(l.Material) {
			put("lots/"+l.ID, l, j.room.free[l.ID])
		}
	}
	for material, offers := range j.supply.offers {
		for _, o := range offers {
			if !packaging(material) {
				put(offerName(o), o, j.outlooks[offerName(o)])
			}
		}
	}
	for _, o := range j.supply.orders {
		put("purchaseOrders/"+o.ID, o)
	}
	for _, b := range j.supply.batches {
		put("batches/"+b.ID, b)
	}
	for id, f := range j.supply.formulas.released {
		put("formulas/"+id, f)
	}
	for id, s := range j.specs {
		put("specifications/"+id, s)
	}
	return out
}

// digestOf is short: a hundred materials and a thousand lots are kept with every
// plan.
func digestOf(parts ...any) string {
	h := sha256.New()
	for _, p := range parts {
		raw, err := json.Marshal(p)
		if err != nil {
			raw = fmt.Appendf(nil, "%+v", p)
		}
		h.Write(raw)
		h.Write([]byte{0})
	}
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:9])
}

// against lists what is other in now, each with what became of it.
func (s planStamps) against(now planStamps) []string {
	var out []string
	for name, was := range s {
		is, there := now[name]
		switch {
		case !there:
			out = append(out, name+" is no longer there or no longer open")
		case is != was:
			out = append(out, name+" has changed")
		}
	}
	for name := range now {
		if _, there := s[name]; !there {
			out = append(out, name+" is new")
		}
	}
	slices.Sort(out)
	return out
}

// mostChanged is how many changes a refusal names.
const mostChanged = 20

// bookChanged says what keeps a plan from being accepted.
func bookChanged(id string, changed []string) error {
	shown := changed
	if len(shown) > mostChanged {
		shown = append(slices.Clone(shown[:mostChanged]), fmt.Sprintf("and %d more", len(changed)-mostChanged))
	}
	return Faultf(ErrConflict, "BOOK_CHANGED", "plans/"+id, "The book has changed since plans/%s was made: %s. Make the plan anew.", id, strings.Join(shown, "; "))
}

// stampsNow reads the book as a plan reads it and stamps it.
func (b *Book) stampsNow(ctx context.Context, tx Tx) (*jointPlanning, planStamps, error) {
	j, err := b.readPlanning(ctx, tx)
	if err != nil {
		return nil, nil, err
	}
	return j, j.stamp(), nil
}

// readPlanning reads what a plan rests on.
func (b *Book) readPlanning(ctx context.Context, tx Tx) (*jointPlanning, error) {
	j := &jointPlanning{}
	var err error
	if j.supply, err = b.loadSupply(ctx, tx); err != nil {
		return nil, err
	}
	if j.room, err = b.loadStockRoom(ctx, tx); err != nil {
		return nil, err
	}
	j.today = j.supply.today
	if j.specs, err = specificationsByID(ctx, tx); err != nil {
		return nil, err
	}
	if j.outlooks, err = outlooks(ctx, tx); err != nil {
		return nil, err
	}
	j.drafts, err = tx.PurchaseOrders().List(ctx, Query{Where: []Condition{{"state", "=", string(purchase.Draft)}}})
	return j, err
}
