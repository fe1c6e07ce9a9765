package batch

import (
	"errors"
	"fmt"
	"time"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// Errors of this package; test with errors.Is.
var (
	ErrState  = errors.New("the batch is not in a state for this")
	ErrPlan   = errors.New("the batch can't be planned like this")
	ErrWeight = errors.New("the weights don't fit the batch")
)

// Plan makes a planned batch. Errors wrap ErrPlan: an id that is none, no
// quantity, no due date, no material, not exactly one of formula and
// specification.
func Plan(b Batch) (Batch, error) {
	if err := inventory.CheckID(b.ID); err != nil {
		return Batch{}, fmt.Errorf("%w: %w", ErrPlan, err)
	}
	switch {
	case (b.Formula == "") == (b.Specification == ""):
		return Batch{}, fmt.Errorf("%w: name either a formula or a specification", ErrPlan)
	case b.Formula != "" && b.FormulaRevision < 1:
		return Batch{}, fmt.Errorf("%w: name a revision of the formula %s", ErrPlan, b.Formula)
	case b.Material == "":
		return Batch{}, fmt.Errorf("%w: name the material that it makes", ErrPlan)
	case b.Quantity <= 0 || b.Quantity > mass.Max:
		return Batch{}, fmt.Errorf("%w: the quantity must be above 0 and at most 1,000,000 t", ErrPlan)
	case b.DueDate.IsZero():
		return Batch{}, fmt.Errorf("%w: give it a due date", ErrPlan)
	}
	b.State = Planned
	b.Lines, b.FinishedLot, b.FinishedMass, b.FinishedAt, b.Properties = nil, "", 0, time.Time{}, nil
	return b, nil
}

// Reserve is the batch with the lines that were set aside for it. ErrState
// unless it is planned, ErrWeight for a line without lot or mass.
func (b Batch) Reserve(lines []Line) (Batch, error) {
	if b.State != Planned {
		return Batch{}, b.not("only a planned batch can have lots reserved")
	}
	if len(lines) == 0 {
		return Batch{}, fmt.Errorf("%w: nothing to weigh", ErrWeight)
	}
	for _, l := range lines {
		if l.Lot == "" || l.Location == "" || l.Quantity <= 0 {
			return Batch{}, fmt.Errorf("%w: %s needs a lot, a location and a mass above 0", ErrWeight, l.Material)
		}
	}
	b.State, b.Lines = Reserved, append([]Line(nil), lines...)
	return b, nil
}

// SetAside is the batch with what is set aside for it while the rest is still to
// come; it stays planned. ErrState unless it is planned, ErrWeight for a line without
// lot or mass.
func (b Batch) SetAside(lines []Line) (Batch, error) {
	reserved, err := b.Reserve(lines)
	reserved.State = b.State
	return reserved, err
}

// Cancel is the batch given up; its lines are no longer set aside. ErrState once
// it is finished or cancelled. The reason is added to the note.
func (b Batch) Cancel(reason string) (Batch, error) {
	if b.State != Planned && b.State != Reserved {
		return Batch{}, b.not("only a planned or reserved batch can be cancelled")
	}
	b.State, b.Lines = Cancelled, nil
	if reason != "" {
		if b.Note != "" {
			b.Note += "\n"
		}
		b.Note += "Cancelled: " + reason
	}
	return b, nil
}

// Done is what came of a batch.
type Done struct {
	Weighed    map[string]mass.Mass // by lot, where it differs from the ticket
	Lot        string               // the finished lot
	Mass       mass.Mass            // what was canned
	At         time.Time
	Properties property.Set
}

// Finish is the batch with its actual weights and its finished lot. ErrState
// unless it is reserved; ErrWeight as in Weigh, or when more came out than went
// in.
func (b Batch) Finish(d Done) (Batch, error) {
	if b.State != Reserved {
		return Batch{}, b.not("only a batch with reserved lots can be finished")
	}
	lines, err := Weigh(b.Lines, d.Weighed)
	if err != nil {
		return Batch{}, err
	}
	charge := Charge(lines)
	if d.Mass <= 0 || d.Mass > charge {
		return Batch{}, fmt.Errorf("%w: %s went in, so more than 0 and at most that can come out, not %s", ErrWeight, charge, d.Mass)
	}
	b.State, b.Lines = Finished, lines
	b.FinishedLot, b.FinishedMass, b.FinishedAt, b.Properties = d.Lot, d.Mass, d.At, d.Properties
	return b, nil
}

func (b Batch) not(why string) error {
	return fmt.Errorf("%w: %s is %s; %s", ErrState, b.ID, b.State, why)
}

// Weigh fills in what was weighed of every line: the ticket's weight, or for a
// lot named in actual that weight, spread over the lot's lines in their order; what
// is more than the ticket goes on the last of them. ErrWeight for a lot that is
// not on the ticket or a negative weight.
func Weigh(lines []Line, actual map[string]mass.Mass) ([]Line, error) {
	out := append([]Line(nil), lines...)
	last := make(map[string]int, len(out))
	for i, l := range out {
		last[l.Lot] = i
	}
	left := make(map[string]mass.Mass, len(actual))
	for lot, m := range actual {
		if _, ok := last[lot]; !ok {
			return nil, fmt.Errorf("%w: lot %s is not on the ticket", ErrWeight, lot)
		}
		if m < 0 {
			return nil, fmt.Errorf("%w: %s of lot %s is negative", ErrWeight, m, lot)
		}
		left[lot] = m
	}
	for i := range out {
		l := &out[i]
		m, given := left[l.Lot]
		switch {
		case !given:
			l.Weighed = l.Quantity
		case last[l.Lot] == i:
			l.Weighed = m
		default:
			l.Weighed = min(m, l.Quantity)
			left[l.Lot] = m - l.Weighed
		}
	}
	return out, nil
}

// Charge is all that was weighed.
func Charge(lines []Line) mass.Mass {
	var sum mass.Mass
	for _, l := range lines {
		sum += l.Weighed
	}
	return sum
}
