package formulation_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"
)

type food struct {
	name string
	per  []float64
}

type nutrient struct {
	name  string
	least float64
}

// stigler reads the foods and allowances of Stigler (1945).
func stigler(t *testing.T) (foods []food, nutrients []nutrient) {
	t.Helper()
	f, err := os.Open("testdata/stigler.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for k, name := range rows[0][1:] {
		nutrients = append(nutrients, nutrient{name, number(rows[1][k+1])})
	}
	for _, row := range rows[2:] {
		per := make([]float64, len(nutrients))
		for k := range per {
			per[k] = number(row[k+1])
		}
		foods = append(foods, food{row[0], per})
	}
	return foods, nutrients
}
