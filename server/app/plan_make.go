package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"golang.org/x/sync/errgroup"

	"millbase/costing/purchase"
	"millbase/solver/formulation"
	"millbase/solver/plan"
)

// jointPlanning is a PlanRequest with what the book had to say to it. The lists
// about supplies, offers and batches run beside those of the problem.
type jointPlanning struct {
	req        PlanRequest
	p          *plan.Problem
	supplies   []planSupply
	offers     []planOffer
	batches    []planBatch
	said       []string
	leftOut    []LeftOut
	today      time.Time // zero: of a problem in the request
	periodDays int
	supply     *supply
	room       *stockRoom
	specs      map[string]formulation.Specification
	drafts     []Record[purchase.Order]
	outlooks   map[string]purchase.Outlook // by the name of the offer
	at         map[string]int              // of a material in the problem
	excluded   map[string]bool
	rejected   map[string]bool // lots that are tried out as rejected
	priced     *prices
}

// MakePlan plans all batches together. A plan of the book as it stands is kept with
// a fingerprint of what it rests on. Errors are Invalid, and the context's own when
// time ran out before there was any plan.
func (b *Book) MakePlan(ctx context.Context, req PlanRequest, once Request) (*JointPlan, error) {
	if err := checkPlan(req); err != nil {
		return nil, err
	}
	if req.Inline != nil {
		return b.planInline(ctx, req)
	}
	return b.planBook(ctx, req, once)
}

func checkPlan(req PlanRequest) error {
	switch {
	case (req.Book == nil) == (req.Inline == nil):
		return InvalidField("book", "give either book or problem")
	case req.Inline != nil && len(req.Changes) > 0:
		return InvalidField("changes", "they are of the book: change the problem itself")
	case req.Inline != nil && req.ID != "":
		return InvalidField("plan_id", "a problem in the request is not kept; leave the id out")
	case len(req.Changes) > 0 && req.ID != "":
		return InvalidField("plan_id", "a plan with changes is not kept; leave the id out")
	}
	return nil
}

// CheckPlan reports what is wrong with a request, without making the plan.
func (b *Book) CheckPlan(ctx context.Context, req PlanRequest) error {
	if err := checkPlan(req); err != nil {
		return err
	}
	if req.Inline != nil {
		j, err := b.askInline(ctx, req)
		if err == nil {
			err = planFault(j.p.Validate())
		}
		return inProblem(err)
	}
	j, _, err := b.askPlan(ctx, req)
	if err != nil {
		return err
	}
	if req.ID != "" {
		if _, err := b.GetPlan(ctx, req.ID); !errors.Is(err, ErrNotFound) {
			return cmp.Or(err, taken(ErrExists, "plans/"+req.ID))
		}
	}
	return planFault(j.p.Validate())
}

// planInline plans a problem that stands in the request.
func (b *Book) planInline(ctx context.Context, req PlanRequest) (*JointPlan, error) {
	j, err := b.askInline(ctx, req)
	if err != nil {
		return nil, inProblem(err)
	}
	out, err := b.solvePlan(ctx, j)
	return out, inProblem(err)
}

// askInline makes the problem in a request whole.
func (b *Book) askInline(ctx context.Context, req PlanRequest) (*jointPlanning, error) {
	j := &jointPlanning{req: req, p: req.Inline.Problem}
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		plant, err := tx.Plant().Get(ctx)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		if j.p.Currency == "" {
			if j.p.Currency = plant.Value.Currency; j.p.Currency == "" {
				return InvalidField("problem.currency_code", "say in which currency the amounts are")
			}
		}
		j.p.Catalogue, err = propertyCatalogue(ctx, tx, req.Inline.Properties...)
		return err
	})
	if err != nil {
		return nil, err
	}
	j.name()
	usual := dearest(j.p)
	for i := range j.p.Batches {
		if x := &j.p.Batches[i]; math.IsNaN(x.UnmadePerKg) {
			x.UnmadePerKg = unmadeTimes * usual
			j.say("A batch that is not made costs %g %s/kg, %d times the dearest material.", x.UnmadePerKg, j.p.Currency, unmadeTimes)
		}
	}
	return j, nil
}

// What not making a kg, and making it a period late, costs beside the dearest
// material's price, unless the request says.
const (
	unmadeTimes = 10
	lateTimes   = 0.1
)

// dearest is the highest price per kg of anything that can be used; 1 when all is
// free.
func dearest(p *plan.Problem) float64 {
	top := 0.0
	for _, s := range p.Supplies {
		top = max(top, s.CostPerKg)
	}
	for _, o := range p.Offers {
		for _, price := range o.Price {
			if !math.IsNaN(price) {
				top = max(top, price)
			}
		}
	}
	if top == 0 {
		return 1
	}
	return top
}

// name fills the lists about the problem's parts where there is no book.
func (j *jointPlanning) name() {
	title := func(material int) string {
		m := j.p.Materials[material]
		if m.Title != "" {
			return m.Title
		}
		return m.ID
	}
	for _, s := range j.p.Supplies {
		j.supplies = append(j.supplies, planSupply{name: s.ID, title: title(s.Material) + ", " + s.ID})
	}
	for _, o := range j.p.Offers {
		of := planOffer{name: o.ID, title: o.Title}
		if of.title == "" {
			of.title = title(o.Material)
		}
		j.offers = append(j.offers, of)
	}
	for _, b := range j.p.Batches {
		of := planBatch{name: b.ID, title: b.Title}
		if of.title == "" {
			of.title = b.ID
		}
		j.batches = append(j.batches, of)
	}
}

// solvePlan solves the problem, and beside it batch by batch in due order, and puts
// both into words.
func (b *Book) solvePlan(ctx context.Context, j *jointPlanning) (*JointPlan, error) {
	j.p.Gap, j.p.TimeLimit = j.req.Gap, searchTime(ctx, j.req.TimeLimit)
	j.req.Progress.tell(0.1, fmt.Sprintf("planning %d batches over %d periods with %d offers", len(j.p.Batches), len(j.p.Periods), len(j.p.Offers)))
	var made, inTurn *plan.Plan
	both, ctx := errgroup.WithContext(ctx)
	both.Go(func() (err error) {
		made, err = plan.Make(ctx, b.engine, b.engine, j.p)
		return err
	})
	both.Go(func() (err error) {
		inTurn, err = plan.InTurn(ctx, b.engine, b.engine, j.p)
		return err
	})
	if err := both.Wait(); err != nil {
		return nil, planFault(err)
	}
	j.req.Progress.tell(0.9, "putting the plan into words")
	return j.answer(made, inTurn), nil
}

// planSearch is how long whole orders are searched for unless the request says.
const planSearch = 20 * time.Second

// searchTime is how long whole orders are searched for: as long as was asked for, and
// at most a third of what the call has left, so that there is an answer by then.
func searchTime(ctx context.Context, asked time.Duration) time.Duration {
	if asked == 0 {
		asked = planSearch
	}
	if by, ok := ctx.Deadline(); ok {
		asked = min(asked, max(time.Until(by)/3, time.Millisecond))
	}
	return asked
}

// planFault says the faults that the solver found in the words of the request.
func planFault(err error) error {
	var faults formulation.FieldErrors
	switch {
	case errors.Is(err, formulation.ErrNumerical):
		return InvalidField("", "%v", err)
	case !errors.As(err, &faults):
		return err
	}
	bad := make(Invalid, 0, len(faults))
	for _, f := range faults {
		bad = append(bad, FieldError{f.Field, f.Problem})
	}
	return bad
}

// inProblem puts the fields of a problem where the request has them.
func inProblem(err error) error {
	bad, ok := err.(Invalid)
	if !ok {
		return err
	}
	for i := range bad {
		switch f := &bad[i].Field; {
		case *f == "":
			*f = "problem"
		case len(*f) < 7 || (*f)[:7] != "problem":
			*f = "problem." + *f
		}
	}
	return bad
}

func (j *jointPlanning) say(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	for _, said := range j.said {
		if said == s {
			return
		}
	}
	j.said = append(j.said, s)
}
