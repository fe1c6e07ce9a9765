package rpc

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"pgregory.net/rapid"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func TestFilters(t *testing.T) {
	known := filterFields{"material": nameField(materials), "status": enumField(pb.LotStatus(0)), "archived": flagField, "expiry_date": dateField,
		"title": textField, "post_time": momentField.as("posted_at")}
	for filter, want := range map[string][]app.Condition{
		``:                               nil,
		`   `:                            nil,
		`status = RELEASED`:              {{Field: "status", Op: "=", Value: "released"}},
		`status = "LOT_STATUS_RELEASED"`: {{Field: "status", Op: "=", Value: "released"}},
		`status != "held"`:               {{Field: "status", Op: "!=", Value: "held"}},
		`material = "materials/m-1"`:     {{Field: "material", Op: "=", Value: "m-1"}},
		`material = "m-1"`:               {{Field: "material", Op: "=", Value: "m-1"}},
		`archived = false`:               {{Field: "archived", Op: "=", Value: "false"}},
		`expiry_date <= "2026-03-31"`:    {{Field: "expiry_date", Op: "<=", Value: "2026-03-31"}},
		`post_time > "2026-03-31T08:00:00+02:00"`: {{Field: "posted_at", Op: ">", Value: "2026-03-31T06:00:00Z"}},
		`title = "a \"b\" AND c"`:                 {{Field: "title", Op: "=", Value: `a "b" AND c`}},
		`material = "m" AND status = HELD AND archived = true`: {
			{Field: "material", Op: "=", Value: "m"}, {Field: "status", Op: "=", Value: "held"}, {Field: "archived", Op: "=", Value: "true"}},
	} {
		got, err := known.conditions(filter)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s reads as %v (%v), want %v", filter, got, err, want)
		}
	}
	for filter, want := range map[string]string{
		`status = RELEASED OR status = HELD`: "ask once for each alternative",
		`NOT status = HELD`:                  "NOT",
		`colour = "red"`:                     "not a field to filter by",
		`status = "tasty"`:                   "use one of QUARANTINED",
		`status < "held"`:                    "only be compared with",
		`archived = "maybe"`:                 "neither true nor false",
		`expiry_date < "2026-02-30"`:         "not a date",
		`post_time > "noon"`:                 "not a moment",
		`material = "lots/l-1"`:              "does not name one of the materials",
		`status`:                             "compare a field",
		`"held"`:                             "compare a field",
		`status:held`:                        "not understood",
		`status = `:                          "can't be read",
		`= held`:                             "can't be read",
		`status = held AND`:                  "can't be read",
		`status = held status = held`:        "not understood",
		`"held" = status`:                    "on the left",
		`status = "held`:                     "can't be read",
		`timestamp("x") = status`:            "on the left",
		"status = \"\x00\xff":                "can't be read",
	} {
		_, err := known.conditions(filter)
		invalid, ok := err.(app.Invalid)
		if !ok || len(invalid) != 1 || invalid[0].Field != "filter" || !strings.Contains(invalid[0].Problem, want) {
			t.Errorf("%s: %v, want %q in it", filter, err, want)
		}
	}
}

// No filter may bring the server down, whatever it holds.
func FuzzFilter(f *testing.F) {
	for _, seed := range []string{`a = "b" AND c != d`, `((((`, `-a`, "a = \xff", `a.b.c:*`, `duration("1s") > 3`, strings.Repeat("(", 500)} {
		f.Add(seed)
	}
	known := filterFields{"a": textField, "c": dateField}
	f.Fuzz(func(t *testing.T, filter string) {
		got, err := known.conditions(filter)
		for _, c := range got {
			if _, listed := known[c.Field]; !listed || err != nil {
				t.Fatalf("%q gave the condition %v (%v)", filter, c, err)
			}
		}
	})
}

func TestPages(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 60).Draw(t, "rows")
		size := rapid.Int32Range(0, 20).Draw(t, "page size")
		all := make([]string, n)
		for i := range all {
			all[i] = strings.Repeat("x", i+1)
		}
		var seen []string
		token := ""
		for range n + 1 {
			p, err := readPage(size, token, "filter")
			if err != nil {
				t.Fatal(err)
			}
			from := 0
			if q := p.query(nil); q.After != "" {
				from = len(q.After)
			}
			rows := all[from:min(n, from+p.query(nil).Limit)]
			kept, next := cut(p, rows, func(s string) string { return s })
			seen = append(seen, kept...)
			if token = next; token == "" {
				break
			}
		}
		if !slices.Equal(seen, all) {
			t.Fatalf("the pages hold %d rows of %d", len(seen), n)
		}
	})
}

func TestPageTokensThatAreRefused(t *testing.T) {
	p, err := readPage(1, "", "a", "b")
	if err != nil {
		t.Fatal(err)
	}
	_, token := cut(p, []string{"one", "two"}, func(s string) string { return s })
	if _, err := readPage(1, token, "a", "b"); err != nil {
		t.Errorf("its own token: %v", err)
	}
	for name, c := range map[string]struct {
		size  int32
		token string
		bound string
		want  string
	}{
		"another filter":  {1, token, "c", "another filter"},
		"not base64":      {1, "***", "b", "not one that this service gave"},
		"too short":       {1, "AAAA", "b", "not one that this service gave"},
		"a size below 0":  {-1, "", "b", "must not be below 0"},
		"a cut-off token": {1, token[:6], "b", "not one that this service gave"},
	} {
		_, err := readPage(c.size, c.token, "a", c.bound)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if p, _ := readPage(5000, ""); p.size != maxPageSize {
		t.Errorf("a page of 5000 became %d", p.size)
	}
	if p, _ := readPage(0, ""); p.size != defaultPageSize {
		t.Errorf("a page of no size became %d", p.size)
	}
}

func TestMasks(t *testing.T) {
	now := func() *pb.Material {
		return &pb.Material{Name: "materials/m", Title: "old", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_OIL, Etag: "v3",
			Properties: map[string]float64{"tack_units": 3}, ShelfLifeDays: 100}
	}
	patch := &pb.Material{Name: "materials/other", Title: "new", Etag: "v1", Properties: map[string]float64{"density_kg_per_l": 1}}
	for name, c := range map[string]struct {
		paths []string
		want  *pb.Material
	}{
		"one field":     {[]string{"title"}, &pb.Material{Title: "new", ShelfLifeDays: 100, Properties: map[string]float64{"tack_units": 3}}},
		"to be emptied": {[]string{"shelf_life_days"}, &pb.Material{Title: "old", Properties: map[string]float64{"tack_units": 3}}},
		"a map whole":   {[]string{"properties"}, &pb.Material{Title: "old", ShelfLifeDays: 100, Properties: map[string]float64{"density_kg_per_l": 1}}},
		"no mask":       {nil, &pb.Material{Title: "new", ShelfLifeDays: 100, Properties: map[string]float64{"density_kg_per_l": 1}}},
		"only the name": {[]string{"name", "etag"}, &pb.Material{Title: "old", ShelfLifeDays: 100, Properties: map[string]float64{"tack_units": 3}}},
	} {
		current := now()
		if err := applyMask("material", &fieldmaskpb.FieldMask{Paths: c.paths}, current, patch); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if current.Name != "materials/m" || current.Etag != "v3" || current.Title != c.want.Title || current.ShelfLifeDays != c.want.ShelfLifeDays ||
			!reflect.DeepEqual(current.Properties, c.want.Properties) {
			t.Errorf("%s gave %v", name, current)
		}
	}
	for path, want := range map[string]string{
		"titel": "invalid", "properties.tack_units": "reaches into a map", "material_class": "must be one of MATERIAL_CLASS_PIGMENT",
	} {
		err := applyMask("material", &fieldmaskpb.FieldMask{Paths: []string{path}}, now(), patch)
		if err == nil || !strings.Contains(strings.ToLower(err.Error()), strings.ToLower(want)) {
			t.Errorf("%s: %v", path, err)
		}
	}
	if err := applyMask("material", &fieldmaskpb.FieldMask{Paths: []string{"*"}}, now(), patch); err == nil || !strings.Contains(err.Error(), "material.material_class") {
		t.Errorf("a full replacement without a class: %v", err)
	}
}
