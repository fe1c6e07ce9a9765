package batch

import (
	"time"

	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// State is how far the batch is.
type State string

// The states. Reserved lots are set aside; a finished batch has consumed them.
const (
	Planned   State = "planned"
	Reserved  State = "reserved"
	Finished  State = "finished"
	Cancelled State = "cancelled"
)

// Line is one component of the batch: how much of which lot is to be weighed.
type Line struct {
	Material    string
	Lot         string
	Location    string
	Quantity    mass.Mass // to weigh
	Reservation string    // id; empty before reserving
	Weighed     mass.Mass // actual weight, set when finished
}

// Batch is one production batch. It is made by a formula revision, or, when
// Formula is empty, by whatever formula meets Specification.
type Batch struct {
	ID              string
	Formula         string
	FormulaRevision int
	Specification   string
	Material        string // the material it makes
	Quantity        mass.Mass
	DueDate         time.Time // calendar date, midnight UTC
	State           State
	// Lines are what is weighed; of a planned batch what is set aside for it so far.
	Lines        []Line
	FinishedLot  string
	FinishedMass mass.Mass
	FinishedAt   time.Time
	// Properties are the evaluated properties of the finished lot.
	Properties property.Set
	Note       string
}
