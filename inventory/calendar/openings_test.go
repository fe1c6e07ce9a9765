package calendar_test

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/inventory/calendar"
)

// Whatever is asked and in whatever order, the remembered openings answer as the
// calendar does: over night shifts, holidays, maintenance and clock changes.
func TestOpeningsAnswerAsTheCalendarDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		config := calendar.Config{Zone: "Europe/Berlin", Week: map[time.Weekday][]calendar.Shift{}, Special: map[calendar.Date][]calendar.Shift{
			{Year: 2026, Month: 3, Day: rapid.IntRange(1, 31).Draw(t, "holiday")}: nil}}
		for day := time.Sunday; day <= time.Saturday; day++ {
			if rapid.Bool().Draw(t, "open") {
				config.Week[day] = []calendar.Shift{{Start: rapid.IntRange(0, 600).Draw(t, "from"), End: rapid.IntRange(601, 900).Draw(t, "to")},
					{Start: rapid.IntRange(901, 1439).Draw(t, "from"), End: rapid.IntRange(1440, 2200).Draw(t, "to")}}
			}
		}
		start := time.Date(2026, 3, 20, 9, 30, 0, 0, time.UTC)
		down := start.Add(time.Duration(rapid.IntRange(0, 500).Draw(t, "maintenance")) * time.Hour)
		config.Maintenance = []calendar.Window{{Interval: calendar.Interval{Start: down, End: down.Add(7 * time.Hour)}}}
		c, err := calendar.New(config)
		if err != nil {
			t.Fatal(err)
		}
		open := c.Openings(start)
		for range rapid.IntRange(1, 12).Draw(t, "questions") {
			at := start.Add(time.Duration(rapid.IntRange(-100, 3000).Draw(t, "at")) * time.Hour)
			work := time.Duration(rapid.IntRange(-1, 20_000).Draw(t, "minutes")) * time.Minute
			next, nextErr := open.NextOpening(at)
			end, endErr := open.AddWorking(at, work)
			wantNext, wantNextErr := c.NextOpening(at)
			wantEnd, wantEndErr := c.AddWorking(at, work)
			if !next.Equal(wantNext) || !errors.Is(nextErr, wantNextErr) || next.Location() != wantNext.Location() {
				t.Fatalf("next opening after %s: %s, %v; the calendar says %s, %v", at, next, nextErr, wantNext, wantNextErr)
			}
			if !end.Equal(wantEnd) || (endErr == nil) != (wantEndErr == nil) || end.Location() != wantEnd.Location() {
				t.Fatalf("%s of work from %s: %s, %v; the calendar says %s, %v", work, at, end, endErr, wantEnd, wantEndErr)
			}
		}
	})
}
