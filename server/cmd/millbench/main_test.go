package main

import (
	"errors"
	"testing"
)

func TestMedian(t *testing.T) {
	for _, c := range []struct {
		in   []float64
		want float64
	}{{[]float64{3}, 3}, {[]float64{9, 1, 2}, 2}, {[]float64{4, 1, 3, 2}, 2.5}} {
		if got := median(c.in); got != c.want {
			t.Errorf("%v: %v, want %v", c.in, got, c.want)
		}
	}
}

func TestBarIsMetAtItsGoalOnly(t *testing.T) {
	for _, c := range []struct {
		b    bar
		want bool
	}{
		{bar{value: 1.6, goal: 1.6}, true}, {bar{value: 1.61, goal: 1.6}, false},
		{bar{value: 3, goal: 3, atLeast: true}, true}, {bar{value: 2.99, goal: 3, atLeast: true}, false},
	} {
		if c.b.met() != c.want {
			t.Errorf("%+v: %v", c.b, c.b.met())
		}
	}
}

func TestTurnsTakesTheMedianOfRatios(t *testing.T) {
	n := 0.0
	ratio, a, b, err := turns(3, func() (float64, error) { n++; return 10 * n, nil }, func() (float64, error) { return 5, nil })
	if err != nil || ratio != 4 || a != 20 || b != 5 {
		t.Fatalf("%v %v %v %v", ratio, a, b, err)
	}
	wrong := errors.New("no")
	if _, _, _, err := turns(1, func() (float64, error) { return 0, wrong }, nil); !errors.Is(err, wrong) {
		t.Fatalf("got %v", err)
	}
}
