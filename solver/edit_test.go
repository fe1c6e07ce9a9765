package solver

import (
	"math/rand/v2"
	"testing"
)

// A row that is inserted has its entries and no other, and leaves all others as
// they were.
func TestInsertRow(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 1))
		n := 1 + r.IntN(6)
		var m Model
		m.AddRow(Row{Lower: 1, Upper: 2})
		m.AddRow(Row{Lower: 3, Upper: 4})
		dense := make([][]float64, 2)
		for i := range dense {
			dense[i] = make([]float64, n)
		}
		for j := range n {
			var entries []Entry
			for i := range dense {
				if r.IntN(2) == 0 {
					dense[i][j] = 1 + r.Float64()
					entries = append(entries, Entry{i, dense[i][j]})
				}
			}
			m.AddVariable(Variable{Upper: 1}, entries...)
		}
		for range 3 {
			row := make([]float64, n)
			var columns []int32
			var values []float64
			for j := range n {
				if r.IntN(2) == 0 {
					row[j] = 1 + r.Float64()
					columns, values = append(columns, int32(j)), append(values, row[j])
				}
			}
			if got := m.InsertRow(Row{Lower: 5, Upper: 6}, columns, values); got != len(dense) {
				t.Fatalf("row %d", got)
			}
			dense = append(dense, row)
		}
		if err := m.Validate(); err != nil {
			t.Fatal(err)
		}
		x := make([]float64, n)
		for j := range x {
			x[j] = 1
			for i, a := range m.Activities(x) {
				if a != dense[i][j] {
					t.Errorf("seed %d: row %d, column %d is %g, not %g", seed, i, j, a, dense[i][j])
				}
			}
			x[j] = 0
		}
	}
}
