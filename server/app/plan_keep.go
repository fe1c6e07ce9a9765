package app

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"
)

// StoredPlan is a plan as it was made, whole, with what it rests on.
type StoredPlan struct {
	ID    string
	State string
	Made  time.Time       // calendar date at the plant
	Body  json.RawMessage // a JointPlan
	Rests json.RawMessage // planStamps
	// Acceptance is a PlanAcceptance; empty while it is proposed.
	Acceptance json.RawMessage
}

// PlanRepo keeps plans.
type PlanRepo interface {
	Repo[StoredPlan]
	// OneByOne lets transactions that accept a plan pass one after another; it holds
	// until the transaction ends.
	OneByOne(ctx context.Context) error
}

// planBook plans the batches of the book.
func (b *Book) planBook(ctx context.Context, req PlanRequest, once Request) (*JointPlan, error) {
	if once.ID != "" && len(req.Changes) == 0 {
		var made *JointPlan
		seen, err := b.madeBefore(ctx, once, func(ctx context.Context, tx Tx, id string) (err error) {
			made, err = readPlan(ctx, tx, id)
			return err
		})
		if seen || err != nil {
			return made, err
		}
	}
	if len(req.Changes) > 0 {
		return b.tryOut(ctx, req)
	}
	out, stamps, err := b.planOnce(ctx, req)
	if err != nil {
		return nil, err
	}
	return b.keepPlan(ctx, req.ID, out, stamps, once)
}

// tryOut plans with the changes and without them, side by side.
func (b *Book) tryOut(ctx context.Context, req PlanRequest) (*JointPlan, error) {
	plain := req
	plain.Changes = nil
	var with, without *JointPlan
	both, ctx := errgroup.WithContext(ctx)
	both.Go(func() (err error) {
		with, _, err = b.planOnce(ctx, req)
		return err
	})
	both.Go(func() (err error) {
		without, _, err = b.planOnce(ctx, plain)
		return err
	})
	if err := both.Wait(); err != nil {
		return nil, err
	}
	with.Difference = differenceOf(with, without)
	return with, nil
}

func (b *Book) planOnce(ctx context.Context, req PlanRequest) (*JointPlan, planStamps, error) {
	j, stamps, err := b.askPlan(ctx, req)
	if err != nil {
		return nil, nil, err
	}
	out, err := b.solvePlan(ctx, j)
	return out, stamps, err
}

// askPlan reads the book for a plan, and checks what was asked.
func (b *Book) askPlan(ctx context.Context, req PlanRequest) (j *jointPlanning, stamps planStamps, err error) {
	req.Progress.tell(0, "reading the book")
	err = b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		j, stamps, err = b.loadPlanning(ctx, tx, req)
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	if len(j.p.Batches) == 0 {
		return nil, nil, Faultf(ErrNotReady, "NOTHING_TO_PLAN", "batches", "There is no planned batch to be begun before %s%s. Plan batches first, or give more weeks.",
			dayOf(j.firstDay(len(j.p.Periods))), j.whyNone())
	}
	return j, stamps, nil
}

// whyNone names the batches that could not take part.
func (j *jointPlanning) whyNone() string {
	var out []string
	for _, l := range j.leftOut {
		if strings.HasPrefix(l.Candidate, "batches/") {
			out = append(out, l.Candidate+": "+l.Why)
		}
	}
	if len(out) == 0 {
		return ""
	}
	return " (" + strings.Join(out, "; ") + ")"
}

// keepPlan stores a plan under the id that was asked for, or the next free one of
// the day.
func (b *Book) keepPlan(ctx context.Context, id string, p *JointPlan, stamps planStamps, once Request) (*JointPlan, error) {
	body, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("keeping a plan: %w", err)
	}
	rests, err := json.Marshal(stamps)
	if err != nil {
		return nil, fmt.Errorf("keeping a plan: %w", err)
	}
	var out *JointPlan
	err = b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		as := id
		if as == "" {
			if err := tx.Plans().OneByOne(ctx); err != nil {
				return err
			}
			if as, err = nextPlanID(ctx, tx, p.Date); err != nil {
				return err
			}
		}
		seen, err := seenBefore(ctx, tx, once, as)
		if err != nil {
			return err
		}
		if seen != "" {
			out, err = readPlan(ctx, tx, seen)
			return err
		}
		rec, err := tx.Plans().Create(ctx, StoredPlan{ID: as, State: string(PlanProposed), Made: p.Date, Body: body, Rests: rests})
		if err != nil {
			return taken(err, "plans/"+as)
		}
		out, err = planOf(rec)
		return err
	})
	return out, err
}

// nextPlanID is "2026-11-25", and from the second plan of a day on "2026-11-25-2".
func nextPlanID(ctx context.Context, tx Tx, day time.Time) (string, error) {
	list, err := tx.Plans().List(ctx, Query{Where: []Condition{{"made_date", "=", dayOf(day)}}})
	if err != nil {
		return "", err
	}
	for n := len(list) + 1; ; n++ {
		id := dayOf(day)
		if n > 1 {
			id = fmt.Sprintf("%s-%d", id, n)
		}
		if !slices.ContainsFunc(list, func(r Record[StoredPlan]) bool { return r.Value.ID == id }) {
			return id, nil
		}
	}
}

// planOf reads a kept plan.
func planOf(rec Record[StoredPlan]) (*JointPlan, error) {
	p := &JointPlan{}
	if err := json.Unmarshal(rec.Value.Body, p); err != nil {
		return nil, fmt.Errorf("stored plan %s: %w", rec.Value.ID, err)
	}
	p.ID, p.State, p.Version, p.Created = rec.Value.ID, PlanState(rec.Value.State), rec.Version, rec.CreatedAt
	if len(rec.Value.Acceptance) > 0 {
		p.Acceptance = &PlanAcceptance{}
		if err := json.Unmarshal(rec.Value.Acceptance, p.Acceptance); err != nil {
			return nil, fmt.Errorf("stored plan %s: %w", rec.Value.ID, err)
		}
	}
	return p, nil
}

func readPlan(ctx context.Context, tx Tx, id string) (*JointPlan, error) {
	rec, err := tx.Plans().Get(ctx, id)
	if err != nil {
		return nil, absent(err, "plans/"+id)
	}
	return planOf(rec)
}

// GetPlan reads one plan as it was made.
func (b *Book) GetPlan(ctx context.Context, id string) (*JointPlan, error) {
	var p *JointPlan
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		p, err = readPlan(ctx, tx, id)
		return err
	})
	return p, err
}

// ListPlans lists plans; conditions: state.
func (b *Book) ListPlans(ctx context.Context, q Query) ([]*JointPlan, error) {
	var out []*JointPlan
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		out = nil
		list, err := tx.Plans().List(ctx, q)
		for _, rec := range list {
			p, err := planOf(rec)
			if err != nil {
				return err
			}
			out = append(out, p)
		}
		return err
	})
	return out, err
}
