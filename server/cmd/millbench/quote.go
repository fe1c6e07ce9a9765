package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"millbase/clients/demo"
	"millbase/inventory/mass"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/postgres"
	"millbase/solver/colour"
	"millbase/solver/engines"
	"millbase/solver/match"
)

const (
	quotedTargets = 60 // colours of one turn
	quoteClients  = 8
	quotedPaper   = "uncoated-white"
	quotedKg      = 120
)

// measureQuote compares a whole quote on a shade, by gRPC, from the request to
// the stored answer (match, costing, lead time), with the bare match in process
// on the same problem; and the slowest of a hundred with the median at 8 clients.
// The colours are matched as the demo plant's ink maker has them matched: by every
// limit of a spot colour, from all lots on the shelf. Beside it, without a bar, is
// the easiest question: base inks only, no limit but the shade.
func measureQuote(ctx context.Context, s settings) ([]bar, error) {
	r, err := newRig(ctx, s)
	if err != nil {
		return nil, err
	}
	defer r.close()
	if err := demo.NewLoader(r.conn, demo.Today(time.Now()), func(string, ...any) {}).Load(ctx); err != nil {
		return nil, err
	}
	store, err := postgres.Open(ctx, r.pg.URL(), postgres.Options{})
	if err != nil {
		return nil, err
	}
	defer store.Close()
	book := app.New(store, engines.New(), time.Now)
	if _, err := r.quoteOverMatch(ctx, s, book, quoteCase{name: "base inks only, no limit but the shade"}); err != nil {
		return nil, err
	}
	c := quoteCase{name: "by every limit of a spot colour, from all lots", specification: "spot-any-shade"}
	ratio, err := r.quoteOverMatch(ctx, s, book, c)
	if err != nil {
		return nil, err
	}
	tail, err := r.quoteTail(ctx, s, book, c)
	if err != nil {
		text, _ := os.ReadFile(filepath.Join(r.dir, "millbased.log"))
		return nil, fmt.Errorf("%w\nthe server's log ends:\n%s", err, text[max(0, len(text)-6000):])
	}
	return []bar{{name: "quote_over_match", value: ratio, goal: 2.5}, {name: "quote_p99_over_p50", value: tail, goal: 6}}, nil
}

// quoteCase is a kind of question for a quote.
type quoteCase struct{ name, specification string }

// quoteOverMatch is the time of a whole quote over that of the bare match.
func (r *rig) quoteOverMatch(ctx context.Context, s settings, book *app.Book, c quoteCase) (float64, error) {
	targets, problems, err := c.targets(ctx, book)
	if err != nil {
		return 0, err
	}
	engine := engines.New()
	bare := func() (float64, error) {
		runtime.GC()
		return medianOf(len(problems), func(i int) error {
			found, err := match.Match(ctx, engine, problems[i], match.Want{Kinds: []match.Kind{match.Cheapest}})
			if err == nil && found.Outcome != match.Matched {
				err = fmt.Errorf("target %d is not matched", i)
			}
			return err
		})
	}
	whole := func() (float64, error) {
		return medianOf(len(targets), func(i int) error { return r.quoteOn(ctx, c, targets[i]) })
	}
	if _, err := whole(); err != nil { // the server's plans and caches are warm at a plant
		return 0, err
	}
	ratio, a, b, err := turns(s.rounds, whole, bare)
	if err == nil {
		fmt.Printf("quote, %s: a whole quote takes %.2f ms, the bare match %.2f ms (medians, 1 client): %.2f times as long\n", c.name, 1e3*a, 1e3*b, ratio)
	}
	return ratio, err
}

// medianOf is the median time of n calls, one after the other, in seconds.
func medianOf(n int, call func(i int) error) (float64, error) {
	times := make([]float64, n)
	for i := range times {
		start := time.Now()
		if err := call(i); err != nil {
			return 0, err
		}
		times[i] = time.Since(start).Seconds()
	}
	return median(times), nil
}

// targets are colours that the demo plant's base inks reach, by mixtures at
// random, with the problem that each of them is to the solver.
func (c quoteCase) targets(ctx context.Context, book *app.Book) ([]colour.Curve, []*match.Problem, error) {
	i := slices.IndexFunc(demo.Papers, func(p demo.Paper) bool { return p.ID == quotedPaper })
	paper := demo.Papers[i]
	r := rand.New(rand.NewPCG(4, 17))
	bases := []string{"base-yellow", "base-red", "base-magenta", "base-blue", "base-green", "base-black"}
	var targets []colour.Curve
	var problems []*match.Problem
	var from *app.BookCandidates
	if c.specification != "" {
		from = &app.BookCandidates{StockOnly: true}
	}
	for len(targets) < quotedTargets {
		of, second := bases[r.IntN(len(bases))], bases[r.IntN(len(bases))]
		share := 0.02 + 0.3*r.Float64()
		print := colour.Curve{First: 380, Step: 10, Values: paper.Print(map[string]float64{of: share, second: share * r.Float64()})}
		m, err := book.MatchShade(ctx, app.MatchRequest{Question: app.OptimiseRequest{Quantity: quotedKg * mass.Kilogram, Specification: c.specification, Book: from},
			Print: app.ShadePrint{Substrate: quotedPaper}, Target: match.Target{Curve: &print}, Kinds: []match.Kind{match.Cheapest}})
		if err != nil {
			return nil, nil, err
		}
		if m.Result.Outcome == match.Matched {
			targets, problems = append(targets, print), append(problems, m.Problem)
		}
	}
	return targets, problems, nil
}

// quoteOn quotes 120 kg on a shade.
func (r *rig) quoteOn(ctx context.Context, c quoteCase, target colour.Curve) error {
	id := uuid.NewString()
	ask := &pb.MatchShadeRequest{Target: &pb.ShadeTarget{Curve: &pb.Curve{FirstNm: int32(target.First), StepNm: int32(target.Step), Values: target.Values}},
		Print: &pb.ShadePrint{Substrate: "substrates/" + quotedPaper}}
	if c.specification != "" {
		ask.Specification, ask.Book = "specifications/"+c.specification, &pb.BookCandidates{StockOnly: true}
	}
	q, err := pb.NewQuoteServiceClient(r.conn).CreateQuote(ctx, &pb.CreateQuoteRequest{QuoteId: id, RequestId: id, Quote: &pb.Quote{
		Customer: "Millgate Press", Title: "A shade", QuantitiesKg: []float64{quotedKg}, Pack: "tin-2-5", ValidUntilDate: time.Now().AddDate(0, 0, 30).Format(time.DateOnly),
		Shade: &pb.QuoteShade{Match: ask}}})
	if err == nil && (len(q.Breaks) != 1 || q.Breaks[0].LeadTime == nil || q.Shade.Lights[0].GetDe00() > 1.001) {
		err = fmt.Errorf("quoted %v", q)
	}
	return err
}

// quoteTail is the 99th percentile of the time of a quote over the median, with 8
// clients at work: the median of the turns.
func (r *rig) quoteTail(ctx context.Context, s settings, book *app.Book, c quoteCase) (float64, error) {
	targets, _, err := c.targets(ctx, book)
	if err != nil {
		return 0, err
	}
	var ratios []float64
	for range s.rounds {
		n := 200 * quoteClients
		times := make([]float64, n)
		var next atomic.Int64
		err := clients(quoteClients, n, func(int) error {
			k := int(next.Add(1)) - 1
			start := time.Now()
			err := r.quoteOn(ctx, c, targets[k%len(targets)])
			times[k] = time.Since(start).Seconds()
			return err
		})
		if err != nil {
			return 0, err
		}
		slices.Sort(times)
		p50, p99 := times[n/2], times[int(math.Ceil(0.99*float64(n)))-1]
		fmt.Printf("quote: at %d clients %.2f ms (median), %.2f ms (99th percentile)\n", quoteClients, 1e3*p50, 1e3*p99)
		ratios = append(ratios, p99/p50)
	}
	return median(ratios), nil
}
