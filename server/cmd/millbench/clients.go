package main

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"
)

// clients shares n pieces of work among some goroutines.
func clients(count, n int, work func(i int) error) error {
	var next atomic.Int64
	var group errgroup.Group
	for range count {
		group.Go(func() error {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return nil
				}
				if err := work(i); err != nil {
					return err
				}
			}
		})
	}
	return group.Wait()
}

// perSecond lets some clients work for a time and returns how often they did in
// a second.
func perSecond(count int, d time.Duration, work func() error) (float64, error) {
	var done atomic.Int64
	var group errgroup.Group
	start := time.Now()
	for range count {
		group.Go(func() error {
			for time.Since(start) < d {
				if err := work(); err != nil {
					return err
				}
				done.Add(1)
			}
			return nil
		})
	}
	err := group.Wait()
	return float64(done.Load()) / time.Since(start).Seconds(), err
}

var tpsPattern = regexp.MustCompile(`tps = ([0-9.]+) \(without`)

// pgbench runs "pgbench -N" on the rig's Postgres and returns transactions per
// second.
func (r *rig) pgbench(ctx context.Context, count int, d time.Duration) (float64, error) {
	program := filepath.Join(r.pg.BinDir(), "pgbench")
	seconds := strconv.Itoa(max(1, int(d.Round(time.Second).Seconds())))
	out, err := exec.CommandContext(ctx, program, "-n", "-N", "-c", strconv.Itoa(count), "-j", "2", "-T", seconds, r.pg.DatabaseURL("pgbench")).CombinedOutput()
	if err != nil {
		return 0, fmt.Errorf("pgbench: %w\n%s", err, out)
	}
	m := tpsPattern.FindSubmatch(out)
	if m == nil {
		return 0, fmt.Errorf("pgbench printed no figure:\n%s", out)
	}
	return strconv.ParseFloat(string(m[1]), 64)
}

// pgbenchInit makes pgbench's tables, scale 10.
func (r *rig) pgbenchInit(ctx context.Context) error {
	program := filepath.Join(r.pg.BinDir(), "pgbench")
	out, err := exec.CommandContext(ctx, program, "-i", "-q", "-s", "10", r.pg.DatabaseURL("pgbench")).CombinedOutput()
	if err != nil {
		return fmt.Errorf("pgbench -i: %w\n%s", err, out)
	}
	return nil
}
