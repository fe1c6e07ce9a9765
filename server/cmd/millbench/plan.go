package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strconv"
	"time"

	"millbase/clients/demo"
	pb "millbase/proto/millbase/v1"
	"millbase/solver/engines"
	"millbase/solver/plan"
	"millbase/solver/plan/plantest"
)

// planArgument, with a number of batches, makes this program plan so many and print
// a planned as JSON.
const planArgument = "plan-batches"

// plants of the benchmark are invented: 60 raw materials in about 120 lots, no two
// alike, 40 specifications of 10 limits, 8 weeks.
func plant(batches int) *plan.Problem {
	return plantest.Plant(1, plantest.Options{Batches: batches, Specs: 40, Sorts: 60, Cover: 0.9, Different: true})
}

// planned is a plan's time and the greatest memory of its process.
type planned struct {
	Seconds, MiB, Replan float64
	Columns, Rows        int
}

// measurePlan compares the joint plan, from the problem in memory to the certified
// and checked answer, with Clp's own command on the same model with nothing merged,
// as MPS, reading included; planning again after a change with planning from
// scratch; and it tells how time and memory grow.
func measurePlan(ctx context.Context, s settings) ([]bar, error) {
	var bars []bar
	for _, size := range []struct {
		name    string
		batches int
	}{{"plan_over_clp_cli", 200}, {"plan_500_over_clp_cli", 500}} {
		ratio, err := planOverClp(ctx, s, size.batches)
		if err != nil {
			return nil, err
		}
		bars = append(bars, bar{name: size.name, value: ratio, goal: 0.8})
	}
	var growth, replan []float64
	memory := 0.0
	for range s.rounds {
		small, err := planApart(ctx, 200)
		if err != nil {
			return nil, err
		}
		large, err := planApart(ctx, 1000)
		if err != nil {
			return nil, err
		}
		fmt.Printf("plan: 200 batches %.0f ms, 1,000 batches %.0f ms in %.0f MiB (%d columns, %d rows); again after a change %.1f ms\n",
			1e3*small.Seconds, 1e3*large.Seconds, large.MiB, large.Columns, large.Rows, 1e3*large.Replan)
		growth, replan, memory = append(growth, large.Seconds/small.Seconds), append(replan, large.Replan/large.Seconds), max(memory, large.MiB)
	}
	gap, err := planGap(ctx)
	if err != nil {
		return nil, err
	}
	saving, err := planSaving(ctx, s)
	if err != nil {
		return nil, err
	}
	return append(bars, bar{name: "replan_over_plan", value: median(replan), goal: 0.04}, bar{name: "plan_growth", value: median(growth), goal: 12},
		bar{name: "plan_rss_mib", value: memory, goal: 400}, bar{name: "plan_gap", value: gap, goal: 0.01},
		bar{name: "plan_saving", value: saving, atLeast: true, goal: 0.005}), nil
}

// planOverClp is the time of a plan over that of the command clp.
func planOverClp(ctx context.Context, s settings, batches int) (float64, error) {
	p := plant(batches)
	m, fixed, err := plan.Model(p)
	if err != nil {
		return 0, err
	}
	dir, err := os.MkdirTemp("", "millbench-")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "plan.mps")
	var text bytes.Buffer
	if err := m.WriteMPS(&text); err != nil {
		return 0, err
	}
	// Clp wants to be told that the fields stand in no fixed columns.
	if err := os.WriteFile(file, bytes.Replace(text.Bytes(), []byte("NAME MODEL"), []byte("NAME MODEL FREE"), 1), 0o600); err != nil {
		return 0, err
	}
	engine := engines.New()
	cost := 0.0
	ours := func() (float64, error) {
		start := time.Now()
		got, err := plan.Make(ctx, engine, engine, p)
		if err == nil {
			cost = got.Cost
		}
		return time.Since(start).Seconds(), err
	}
	clp := func() (float64, error) {
		start := time.Now()
		out, err := exec.CommandContext(ctx, "clp", file, "-dualsimplex").Output()
		took := time.Since(start).Seconds()
		if err != nil {
			return 0, fmt.Errorf("clp (Debian package coinor-clp): %w", err)
		}
		at := optimalObjective.FindSubmatch(out)
		if at == nil {
			return 0, fmt.Errorf("clp found no optimum:\n%s", out)
		}
		if theirs, _ := strconv.ParseFloat(string(at[1]), 64); math.Abs(theirs+fixed-cost) > 1e-5*math.Abs(cost) {
			return 0, fmt.Errorf("clp has an optimum of %g, the plan costs %g", theirs+fixed, cost)
		}
		return took, nil
	}
	ratio, a, b, err := turns(s.rounds, ours, clp)
	if err == nil {
		fmt.Printf("plan: %d batches take %.0f ms; clp on the %d x %d model with nothing merged %.0f ms\n", batches, 1e3*a, len(m.Variables), len(m.Rows), 1e3*b)
	}
	return ratio, err
}

var optimalObjective = regexp.MustCompile(`(?m)^Optimal objective (\S+)`)

// planApart plans in a process of its own, so that memory is what planning takes.
func planApart(ctx context.Context, batches int) (planned, error) {
	var out planned
	program, err := os.Executable()
	if err != nil {
		return out, err
	}
	c := exec.CommandContext(ctx, program, planArgument, strconv.Itoa(batches))
	c.Stderr = os.Stderr
	text, err := c.Output()
	if err != nil {
		return out, err
	}
	return out, json.Unmarshal(text, &out)
}

// peakMemory is the greatest resident memory of this process, MiB. What the system
// tells a parent of its child begins with the parent's own.
func peakMemory() (float64, error) {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0, err
	}
	at := peakLine.FindSubmatch(text)
	if at == nil {
		return 0, errors.New("/proc/self/status does not tell VmHWM")
	}
	kib, err := strconv.ParseFloat(string(at[1]), 64)
	return kib / 1024, err
}

var peakLine = regexp.MustCompile(`(?m)^VmHWM:\s*(\d+) kB$`)

// printPlanned is the other side of planApart.
func printPlanned(ctx context.Context, batches string) error {
	debug.SetGCPercent(400) // as in the server
	n, err := strconv.Atoi(batches)
	if err != nil {
		return err
	}
	out, err := planRun(ctx, n)
	if err != nil {
		return err
	}
	return json.NewEncoder(os.Stdout).Encode(out)
}

// planRun plans from scratch, then again after five stocks were halved and after a
// lot was rejected, in turn, each change on top of the ones before.
func planRun(ctx context.Context, batches int) (planned, error) {
	p := plant(batches)
	engine := engines.New()
	start := time.Now()
	kept, got, err := plan.Keep(ctx, engine, engine, p)
	if err != nil {
		return planned{}, err
	}
	out := planned{Seconds: time.Since(start).Seconds(), Columns: got.Size.Columns, Rows: got.Size.Rows}
	var again []float64
	for i := range 20 {
		change := plan.Change{Kg: map[int]float64{}}
		if i%2 == 0 {
			change.Kg[(i*37)%len(p.Supplies)] = 0
		}
		for k := 0; i%2 == 1 && k < 5; k++ {
			j := (i*11 + k*23) % len(p.Supplies)
			change.Kg[j] = p.Supplies[j].Kg / 2
		}
		start := time.Now()
		if _, err := kept.Again(ctx, change); err != nil {
			return planned{}, err
		}
		again = append(again, time.Since(start).Seconds())
	}
	out.Replan = median(again)
	out.MiB, err = peakMemory()
	return out, err
}

// planGap is the gap of a plan in which offers come in packs, with a minimum order
// and a charge for each order.
func planGap(ctx context.Context) (float64, error) {
	p := plantest.Plant(1, plantest.Options{Batches: 200, Specs: 40, Sorts: 60, Cover: 0.9, Different: true, Packs: true})
	p.TimeLimit = 120 * time.Second
	engine := engines.New()
	start := time.Now()
	got, err := plan.Make(ctx, engine, engine, p)
	if err != nil {
		return 0, err
	}
	fmt.Printf("plan: with packs and minimum orders a gap of %.4f after %.1f s, %d orders\n", got.Gap, time.Since(start).Seconds(), len(got.Orders))
	return got.Gap, nil
}

// planSaving is what the joint plan of the demo plant saves against planning batch by
// batch in due order, as a part of the cost of that.
func planSaving(ctx context.Context, s settings) (float64, error) {
	r, err := newRig(ctx, s)
	if err != nil {
		return 0, err
	}
	defer r.close()
	if err := demo.NewLoader(r.conn, demo.Today(time.Now()), func(string, ...any) {}).Load(ctx); err != nil {
		return 0, err
	}
	p, err := pb.NewPlanServiceClient(r.conn).MakePlan(ctx, &pb.MakePlanRequest{What: &pb.MakePlanRequest_Book{Book: &pb.PlanBook{}}})
	if err != nil {
		return 0, err
	}
	if p.InTurnCost == nil {
		return 0, errors.New("the plan does not say what planning in turn costs")
	}
	fmt.Printf("plan: the demo plant saves %.2f %% against planning batch by batch in due order\n", p.SavingPercent)
	return p.SavingPercent / 100, nil
}
