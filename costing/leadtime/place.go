package leadtime

import "time"

// Place puts batches that are planned already onto the machines, from r.Now on
// and outside r.Busy, all materials taken to be there: what Make does, without
// asking what decides. It returns their steps and the end of the last one.
// ErrRequest as in Make.
func Place(r Request) ([]Planned, time.Time, error) {
	if err := r.check(); err != nil {
		return nil, time.Time{}, err
	}
	return newSchedule(&r, nil, r.Busy).run(r.Now.In(r.Calendar.Zone()), r.Batches)
}
