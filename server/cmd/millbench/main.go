package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"regexp"
	"runtime/debug"
	"sort"
	"time"
)

// bar is one promised figure.
type bar struct {
	name    string
	value   float64
	atLeast bool
	goal    float64
}

func (b bar) met() bool {
	if b.atLeast {
		return b.value >= b.goal
	}
	return b.value <= b.goal
}

func (b bar) print() {
	sign := "<="
	if b.atLeast {
		sign = ">="
	}
	missed := ""
	if !b.met() {
		missed = "  MISSED"
	}
	fmt.Printf("BAR %s %.3f %s %g%s\n", b.name, b.value, sign, b.goal, missed)
}

// settings say how long to measure.
type settings struct {
	rounds   int
	duration time.Duration
	server   string // path of millbased
}

func main() {
	var s settings
	only := flag.String("only", "", "measure only the groups whose name matches this pattern: solve, optimise, match, reprice, weighable, parallel, cancel, ledger, import, rest, quote, plan")
	flag.IntVar(&s.rounds, "rounds", 3, "turns that each side takes; the median of the ratios counts")
	flag.DurationVar(&s.duration, "duration", 3*time.Second, "length of one turn")
	flag.StringVar(&s.server, "server", ".build/bin/millbased", "the server to measure")
	flag.Parse()
	pattern, err := regexp.Compile(*only)
	if err != nil {
		fmt.Fprintln(os.Stderr, "millbench: -only:", err)
		os.Exit(2)
	}
	debug.SetGCPercent(400) // the load generator shares the machine with what it measures
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if flag.Arg(0) == parallelArgument {
		n, err := parallelRun(ctx, parallelEarly, parallelSolves)
		if err != nil {
			fmt.Fprintln(os.Stderr, "millbench:", err)
			os.Exit(1)
		}
		fmt.Print(n)
		return
	}
	if flag.Arg(0) == planArgument {
		if err := printPlanned(ctx, flag.Arg(1)); err != nil {
			fmt.Fprintln(os.Stderr, "millbench:", err)
			os.Exit(1)
		}
		return
	}
	os.Exit(run(ctx, s, pattern))
}

func run(ctx context.Context, s settings, pattern *regexp.Regexp) int {
	groups := []struct {
		name    string
		measure func(context.Context, settings) ([]bar, error)
	}{{"solve", measureSolve}, {"optimise", measureOptimise}, {"match", measureMatch}, {"reprice", measureReprice}, {"weighable", measureWeighable}, {"parallel", measureParallel}, {"cancel", measureCancel}, {"ledger", measureLedger}, {"import", measureImport}, {"rest", measureREST}, {"quote", measureQuote}, {"plan", measurePlan}}
	code := 0
	for _, g := range groups {
		if !pattern.MatchString(g.name) {
			continue
		}
		bars, err := g.measure(ctx, s)
		if err != nil {
			fmt.Fprintf(os.Stderr, "millbench: %s: %v\n", g.name, err)
			return 1
		}
		for _, b := range bars {
			b.print()
			if !b.met() {
				code = 1
			}
		}
	}
	return code
}

// median of some values; it sorts them.
func median(v []float64) float64 {
	sort.Float64s(v)
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}

// turns lets two sides take turns and returns the median of first over second,
// with each side's own median.
func turns(rounds int, first, second func() (float64, error)) (ratio, a, b float64, err error) {
	var ratios, as, bs []float64
	for range rounds {
		x, err := first()
		if err != nil {
			return 0, 0, 0, err
		}
		y, err := second()
		if err != nil {
			return 0, 0, 0, err
		}
		ratios, as, bs = append(ratios, x/y), append(as, x), append(bs, y)
	}
	return median(ratios), median(as), median(bs), nil
}
