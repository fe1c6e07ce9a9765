package app

import (
	"context"
	"fmt"
	"sort"
	"strings"
	"time"

	"millbase/inventory"
	"millbase/inventory/property"
	"millbase/solver/colour"
)

// LotTest is what quality control measured on a lot. It is never changed, only
// withdrawn.
type LotTest struct {
	Lot, ID   string
	Values    property.Set
	Method    string
	Note      string
	Date      time.Time
	Tester    string // the key
	Bleach    *BleachResult
	Withdrawn bool
	Reason    string // why it was withdrawn
}

// BleachResult is how strong a lot is against its standard, 1 is equal.
type BleachResult struct {
	AtMost   float64 `json:"at_most"`
	AtMostNm int     `json:"at_most_nm"`
	Summed   float64 `json:"summed"`
	DE00     float64 `json:"de00"`
}

// BleachTest is a bleach test to be recorded: drawdowns of a lot and of its
// standard, let down alike in white.
type BleachTest struct {
	LotTest       // without values
	Batch         colour.Curve
	Standard      colour.Curve
	Surface       colour.Surface
	Summed        bool    // the summed figure counts, not that at most absorption
	StandardIsFor float64 // strength of the standard itself; 0: 1
}

// LotTestID is the id of a test in the store.
func LotTestID(lot, test string) string { return lot + "/" + test }

func lotTestsOf(tx Tx) Repo[LotTest] { return tx.LotTests() }

// The strength that a lot is usually released with (common practice), and the
// largest that a bleach test can tell.
const (
	weakest, strongest = 0.9, 1.1
	mostStrength       = 10
)

// Warnings say what to look at before the lot is used.
func (t LotTest) Warnings() []string {
	v, known := t.Values[property.TintStrengthFraction]
	if known && (v < weakest || v > strongest) {
		return []string{fmt.Sprintf("Tint strength %.1f %% is outside %.0f to %.0f %%, within which lots are usually released; formulas count it, the customer's shade may not.",
			100*v, 100*weakest, 100*strongest)}
	}
	return nil
}

// RecordBleachTest works the tint strength of a lot out and records it.
func (b *Book) RecordBleachTest(ctx context.Context, t BleachTest, req Request) (Record[LotTest], error) {
	for _, c := range []struct {
		field string
		curve colour.Curve
	}{{"lot", t.Batch}, {"standard", t.Standard}} {
		if err := c.curve.Validate(); err != nil {
			return Record[LotTest]{}, InvalidField(c.field, "%v", err)
		}
	}
	s, err := colour.BleachTest(t.Batch, t.Standard, t.Surface)
	if err != nil {
		return Record[LotTest]{}, InvalidField("standard", "%v", err)
	}
	strength := s.AtMost
	if t.Summed {
		strength = s.Summed
	}
	if t.StandardIsFor > 0 {
		strength *= t.StandardIsFor
	}
	if !(strength > 0 && strength <= mostStrength) {
		return Record[LotTest]{}, InvalidField("lot", "comes to a tint strength of %.3g %%; check that both drawdowns are let down alike, and which is which", 100*strength)
	}
	t.Values = property.Set{property.TintStrengthFraction: strength}
	t.LotTest.Bleach = &BleachResult{AtMost: s.AtMost, AtMostNm: s.AtMostNm, Summed: s.Summed, DE00: s.Different}
	return b.RecordLotTest(ctx, t.LotTest, req)
}

// RecordLotTest records what was measured on a lot. From then on it counts in every
// limit and formula that the lot is in.
func (b *Book) RecordLotTest(ctx context.Context, t LotTest, req Request) (Record[LotTest], error) {
	if err := inventory.CheckID(t.ID); err != nil {
		return Record[LotTest]{}, InvalidField("test_id", "%s", err)
	}
	if len(t.Values) == 0 {
		return Record[LotTest]{}, InvalidField("test.values", "say what was measured: a value by property, such as tack_units")
	}
	var rec Record[LotTest]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, LotTestID(t.Lot, t.ID))
		if err != nil {
			return err
		}
		if seen != "" {
			rec, err = tx.LotTests().Get(ctx, seen)
			return err
		}
		if err := b.checkLotTest(ctx, tx, &t); err != nil {
			return err
		}
		if rec, err = tx.LotTests().Create(ctx, t); err != nil {
			return taken(err, "lots/"+t.Lot+"/tests/"+t.ID)
		}
		return settleTests(ctx, tx, t.Lot)
	})
	return rec, err
}

// checkLotTest looks at what the test refers to, and dates and signs it.
func (b *Book) checkLotTest(ctx context.Context, tx Tx, t *LotTest) error {
	of, err := tx.Lots().Get(ctx, t.Lot)
	if err != nil {
		return absent(err, "lots/"+t.Lot)
	}
	material, err := tx.Materials().Get(ctx, of.Value.Material)
	if err != nil {
		return err
	}
	bad, err := checkSet(ctx, tx, "test.values", t.Values, material.Value.ColourIndex)
	if err != nil {
		return err
	}
	today, err := b.todayOf(ctx, tx)
	if err != nil {
		return err
	}
	switch {
	case t.Date.IsZero():
		t.Date = today
	case t.Date.After(today):
		bad = append(bad, FieldError{"test.test_date", fmt.Sprintf("lies after today, %s", today.Format(time.DateOnly))})
	}
	if len(bad) > 0 {
		return bad
	}
	t.Tester = CallerOf(ctx).Key
	return nil
}

// settleTests puts with a lot what counts of its tests: of each property the value
// of the last one that was not withdrawn.
func settleTests(ctx context.Context, tx Tx, id string) error {
	tests, err := tx.LotTests().List(ctx, Query{Where: []Condition{{"lot", "=", id}}})
	if err != nil {
		return err
	}
	sort.SliceStable(tests, func(i, j int) bool {
		a, b := &tests[i], &tests[j]
		if !a.Value.Date.Equal(b.Value.Date) {
			return a.Value.Date.Before(b.Value.Date)
		}
		return a.CreatedAt.Before(b.CreatedAt)
	})
	values := property.Set{}
	for _, t := range tests {
		if !t.Value.Withdrawn {
			values = values.Merge(t.Value.Values)
		}
	}
	of, err := tx.Lots().Get(ctx, id)
	if err != nil {
		return err
	}
	of.Value.Tested = values
	_, err = tx.Lots().Update(ctx, of.Value, of.Version)
	return err
}

// WithdrawLotTest takes a test that was wrong out of what counts.
func (b *Book) WithdrawLotTest(ctx context.Context, lot, test, reason string) (Record[LotTest], error) {
	if strings.TrimSpace(reason) == "" {
		return Record[LotTest]{}, InvalidField("reason", "say why the test is withdrawn")
	}
	var rec Record[LotTest]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		now, err := tx.LotTests().Get(ctx, LotTestID(lot, test))
		if err != nil {
			return err
		}
		if now.Value.Withdrawn {
			return Faultf(ErrConflict, "WITHDRAWN_ALREADY", "lots/"+lot+"/tests/"+test, "lots/%s/tests/%s was withdrawn already: %s", lot, test, now.Value.Reason)
		}
		now.Value.Withdrawn, now.Value.Reason = true, reason
		if rec, err = tx.LotTests().Update(ctx, now.Value, now.Version); err != nil {
			return err
		}
		return settleTests(ctx, tx, lot)
	})
	return rec, err
}

// LotTest reads one test.
func (b *Book) LotTest(ctx context.Context, lot, test string) (Record[LotTest], error) {
	return getOne(ctx, b, lotTestsOf, LotTestID(lot, test))
}

// LotTests lists the tests of a lot, "" for all lots.
func (b *Book) LotTests(ctx context.Context, lot string, q Query) ([]Record[LotTest], error) {
	var recs []Record[LotTest]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		if lot != "" {
			if _, err := tx.Lots().Get(ctx, lot); err != nil {
				return err
			}
			q.Where = append(q.Where, Condition{"lot", "=", lot})
		}
		recs, err = tx.LotTests().List(ctx, q)
		return err
	})
	return recs, err
}
