package storetest

import (
	"context"
	"errors"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/colour"
)

func drawCurve(t *rapid.T) colour.Curve {
	return colour.Curve{First: counts.Draw(t, "first"), Step: 1 + counts.Draw(t, "step"), Values: rapid.SliceOfN(floats, 1, 4).Draw(t, "values")}
}

func drawSubstrate(t *rapid.T, id string) app.Substrate {
	return app.Substrate{ID: id, Title: words.Draw(t, "title"), Curve: drawCurve(t), FilmGPerM2: rapid.Float64Range(0.1, 10).Draw(t, "film"), Measured: words.Draw(t, "measured"),
		Surface: colour.Surface{K1: floats.Draw(t, "k1"), K2: floats.Draw(t, "k2"), Included: flags.Draw(t, "specular")}}
}

// drawCharacterisation draws one that another followed: of current ones there can
// be but one of an ink on a substrate.
func drawCharacterisation(t *rapid.T, id string) app.Characterisation {
	return app.Characterisation{ID: id, Material: "m-1", Substrate: "paper-1", Opaque: flags.Draw(t, "opaque"), Note: words.Draw(t, "note"), Superseded: true,
		Drawdowns: list(t, rapid.Custom(func(t *rapid.T) app.Drawdown {
			return app.Drawdown{Concentration: floats.Draw(t, "concentration"), FilmGPerM2: floats.Draw(t, "film"), Curve: drawCurve(t), DE00: floats.Draw(t, "de00")}
		})),
		K: rapid.SliceOfN(floats, 1, 4).Draw(t, "k"), S: rapid.SliceOfN(floats, 1, 4).Draw(t, "s"), Residual: floats.Draw(t, "residual")}
}

// testColours checks what the generic tests of aggregates can't.
func testColours(t *testing.T, s app.Store) {
	current := func(id string) error {
		return s.Update(t.Context(), func(ctx context.Context, tx app.Tx) error {
			_, err := tx.Characterisations().Create(ctx, app.Characterisation{ID: id, Material: "m-1", Substrate: "paper-1", K: []float64{1}})
			return err
		})
	}
	if err := current("now-1"); err != nil {
		t.Fatal(err)
	}
	if err := current("now-2"); !errors.Is(err, app.ErrConflict) {
		t.Errorf("two current characterisations of one ink on one substrate: %v", err)
	}
	update(t, s, func(tx app.Tx) error {
		rec, err := tx.Characterisations().Get(t.Context(), "now-1")
		if err != nil {
			return err
		}
		if rec.Value.S == nil && rec.Value.Drawdowns != nil {
			t.Errorf("read %+v", rec.Value)
		}
		rec.Value.Superseded = true
		_, err = tx.Characterisations().Update(t.Context(), rec.Value, rec.Version)
		return err
	})
	if err := current("now-2"); err != nil {
		t.Error(err)
	}
}

// testLotTests checks that a test is kept as it was recorded, and can only be
// withdrawn.
func testLotTests(t *testing.T, s app.Store) {
	made := app.LotTest{Lot: "l-1", ID: "t-1", Values: property.Set{"tack_units": 10.5}, Method: "at 32 °C", Note: "twice", Date: time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC),
		Tester: "key-1", Bleach: &app.BleachResult{AtMost: 1.1, AtMostNm: 620, Summed: 1.05, DE00: 0.4}}
	update(t, s, func(tx app.Tx) error {
		_, err := tx.LotTests().Create(t.Context(), made)
		return err
	})
	change := func(f func(*app.LotTest)) error {
		return s.Update(t.Context(), func(ctx context.Context, tx app.Tx) error {
			rec, err := tx.LotTests().Get(ctx, app.LotTestID("l-1", "t-1"))
			if err != nil {
				return err
			}
			f(&rec.Value)
			_, err = tx.LotTests().Update(ctx, rec.Value, rec.Version)
			return err
		})
	}
	for name, f := range map[string]func(*app.LotTest){
		"a value":            func(x *app.LotTest) { x.Values = property.Set{"tack_units": 9} },
		"the date":           func(x *app.LotTest) { x.Date = x.Date.AddDate(0, 0, 1) },
		"who tested":         func(x *app.LotTest) { x.Tester = "key-2" },
		"a value, withdrawn": func(x *app.LotTest) { x.Withdrawn, x.Values = true, property.Set{"tack_units": 9} },
	} {
		if err := change(f); !errors.Is(err, app.ErrConflict) {
			t.Errorf("changing %s: %v", name, err)
		}
	}
	if err := change(func(x *app.LotTest) { x.Withdrawn, x.Reason = true, "wrong lot" }); err != nil {
		t.Fatal(err)
	}
	if err := change(func(x *app.LotTest) { x.Withdrawn = false }); !errors.Is(err, app.ErrConflict) {
		t.Errorf("bringing it back: %v", err)
	}
	made.Withdrawn, made.Reason = true, "wrong lot"
	update(t, s, func(tx app.Tx) error {
		rec, err := tx.LotTests().Get(t.Context(), app.LotTestID("l-1", "t-1"))
		if err == nil && !reflect.DeepEqual(rec.Value, made) {
			t.Errorf("kept %+v, made %+v", rec.Value, made)
		}
		return err
	})
}
