package app

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/lot"
)

// CreateFormula appends a revision: the first, or the next of a formula that is
// there. A revision never changes. Its ingredients must be in the book, and no
// ingredient may be made from what the formula makes.
func (b *Book) CreateFormula(ctx context.Context, f formula.Formula, req Request) (Record[formula.Formula], error) {
	var rec Record[formula.Formula]
	if err := inventory.CheckID(f.ID); err != nil {
		return rec, InvalidField("formula_id", "%v", err)
	}
	f.Released = false
	var err error
	for range raceTries {
		err = b.store.Update(ctx, func(ctx context.Context, tx Tx) (err error) {
			rec, err = appendRevision(ctx, tx, f, req)
			return err
		})
		if !errors.Is(err, errRaced) {
			break
		}
	}
	return rec, err
}

// raceTries is how often a revision is appended anew when others append to the
// same formula at the same moment.
const raceTries = 10

var errRaced = Faultf(ErrBusy, "TRY_AGAIN", "", "Others add revisions of the same formula at this moment; try again.")

func appendRevision(ctx context.Context, tx Tx, f formula.Formula, req Request) (Record[formula.Formula], error) {
	newest, err := tx.Formulas().Get(ctx, f.ID)
	if err != nil && !isNotFound(err) {
		return newest, err
	}
	f.Revision = newest.Value.Revision + 1
	seen, err := seenBefore(ctx, tx, req, revisionID(f.ID, f.Revision))
	if err != nil {
		return newest, err
	}
	if seen != "" {
		return tx.Formulas().Get(ctx, seen)
	}
	if err := checkFormula(ctx, tx, f); err != nil {
		return newest, err
	}
	rec, err := tx.Formulas().Create(ctx, f)
	if err == nil && rec.Value.Revision != f.Revision {
		err = errRaced // the request id is recorded for another revision
	}
	return rec, taken(err, "formulas/"+revisionID(f.ID, f.Revision))
}

// GetFormula reads the newest revision of "id", or one by "id@3".
func (b *Book) GetFormula(ctx context.Context, id string) (Record[formula.Formula], error) {
	return getOne(ctx, b, Tx.Formulas, id)
}

// ListFormulas lists the newest revision of every formula by material,
// specification and released.
func (b *Book) ListFormulas(ctx context.Context, q Query) ([]Record[formula.Formula], error) {
	return listAll(ctx, b, Tx.Formulas, q)
}

// ListFormulaRevisions lists all revisions of one formula; ErrNotFound when there
// is none.
func (b *Book) ListFormulaRevisions(ctx context.Context, id string) ([]Record[formula.Formula], error) {
	var list []Record[formula.Formula]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		list, err = tx.Formulas().List(ctx, Query{Where: []Condition{{"formula", "=", id}}})
		if err == nil && len(list) == 0 {
			err = absent(ErrNotFound, "formulas/"+id)
		}
		return err
	})
	return list, err
}

// ReleaseFormula releases the revision "id@3" for production, or withdraws it.
// Doing it twice changes nothing.
func (b *Book) ReleaseFormula(ctx context.Context, id string, released bool) (Record[formula.Formula], error) {
	var rec Record[formula.Formula]
	if _, _, ok := splitRevision(id); !ok {
		return rec, InvalidField("name", "name the revision: formulas/%s@1", id)
	}
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) (err error) {
		if rec, err = tx.Formulas().Get(ctx, id); err != nil {
			return absent(err, "formulas/"+id)
		}
		if rec.Value.Released == released {
			return nil
		}
		if released {
			if err := checkFormula(ctx, tx, rec.Value); err != nil {
				return notReleasable(rec.Value, err)
			}
		}
		f := rec.Value
		f.Released = released
		rec, err = tx.Formulas().Update(ctx, f, rec.Version)
		return err
	})
	return rec, err
}

// notReleasable says why a revision that was good when it was written is not any
// more: a material's retained part has changed, or another formula closes a
// circle.
func notReleasable(f formula.Formula, err error) error {
	bad, ok := err.(Invalid)
	if !ok {
		return err
	}
	name := "formulas/" + revisionID(f.ID, f.Revision)
	return Faultf(ErrNotReady, "FORMULA_NOT_VALID", name, "%s can't be released as it stands: %s. Make a new revision.", name, bad.Error())
}

// revisionID names a revision: "id@3".
func revisionID(id string, revision int) string { return fmt.Sprintf("%s@%d", id, revision) }

// splitRevision splits "id@3".
func splitRevision(name string) (id string, revision int, ok bool) {
	id, number, found := strings.Cut(name, "@")
	revision, err := strconv.Atoi(number)
	return id, revision, found && err == nil && revision > 0
}

func checkFormula(ctx context.Context, tx Tx, f formula.Formula) error {
	materials, err := materialsByID(ctx, tx)
	if err != nil {
		return err
	}
	bad := checkFormulaAlone(f, materials)
	lotFaults, err := checkFormulaLots(ctx, tx, f)
	if err != nil {
		return err
	}
	bad = append(bad, lotFaults...)
	if f.Specification != "" {
		if _, err := tx.Specifications().Get(ctx, f.Specification); err != nil {
			if !isNotFound(err) {
				return err
			}
			bad = append(bad, FieldError{"formula.specification", "specifications/" + f.Specification + " is not in the book"})
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return checkCycle(ctx, tx, f, materials)
}

func checkFormulaAlone(f formula.Formula, materials map[string]BookMaterial) Invalid {
	var bad Invalid
	for _, x := range f.Check(func(m string) float64 { return materials[m].Properties.Retained() }) {
		bad = append(bad, FieldError{"formula." + x.Field, x.Problem})
	}
	if m, ok := materials[f.Material]; !ok && f.Material != "" {
		bad = append(bad, FieldError{"formula.material", "materials/" + f.Material + " is not in the book"})
	} else if m.Class == inventory.Packaging {
		bad = append(bad, FieldError{"formula.material", "materials/" + f.Material + " is packaging; name the ink or base ink that the formula makes"})
	}
	for i, in := range f.Ingredients {
		field := fmt.Sprintf("formula.ingredients[%d].material", i)
		switch m, ok := materials[in.Material]; {
		case in.Material == "":
		case !ok:
			bad = append(bad, FieldError{field, "materials/" + in.Material + " is not in the book"})
		case m.Class == inventory.Packaging:
			bad = append(bad, FieldError{field, "materials/" + in.Material + " is packaging; it does not go into the pot"})
		}
	}
	return bad
}

func checkFormulaLots(ctx context.Context, tx Tx, f formula.Formula) (Invalid, error) {
	var bad Invalid
	for i, in := range f.Ingredients {
		if in.Lot == "" {
			continue
		}
		field := fmt.Sprintf("formula.ingredients[%d].lot", i)
		rec, err := tx.Lots().Get(ctx, in.Lot)
		switch {
		case isNotFound(err):
			bad = append(bad, FieldError{field, "lots/" + in.Lot + " is not in the book"})
		case err != nil:
			return nil, err
		case rec.Value.Material != in.Material:
			bad = append(bad, FieldError{field, fmt.Sprintf("lots/%s is of materials/%s, not of materials/%s", in.Lot, rec.Value.Material, in.Material)})
		case rec.Value.Status == lot.Rejected:
			bad = append(bad, FieldError{field, "lots/" + in.Lot + " is rejected; name another lot"})
		}
	}
	return bad, nil
}

// checkCycle refuses a formula by which a material would be made from itself.
func checkCycle(ctx context.Context, tx Tx, f formula.Formula, materials map[string]BookMaterial) error {
	list, err := tx.Formulas().List(ctx, Query{})
	if err != nil {
		return err
	}
	parts := map[string][]string{}
	add := func(x formula.Formula) {
		for _, in := range x.Ingredients {
			parts[x.Material] = append(parts[x.Material], in.Material)
		}
	}
	add(f)
	for _, r := range list {
		// Leftover ink goes back into the ink that it came from: that is what it
		// is for, and no circle of formulas.
		if r.Value.ID != f.ID && materials[r.Value.Material].Class != inventory.WorkOff {
			add(r.Value)
		}
	}
	if way := formula.Cycle(f.Material, func(m string) []string { return parts[m] }); way != nil {
		return InvalidField("formula.ingredients", "%s would be made from itself: %s. Take one of these ingredients out",
			way[0], strings.Join(way, " is made from "))
	}
	return nil
}
