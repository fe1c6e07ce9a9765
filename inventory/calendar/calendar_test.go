package calendar_test

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/inventory/calendar"
)

func plant(t testing.TB, c calendar.Config) *calendar.Calendar {
	t.Helper()
	cal, err := calendar.New(c)
	if err != nil {
		t.Fatal(err)
	}
	return cal
}

// weekdays are two day shifts with a pause, Monday to Friday, and a night shift
// that starts on Friday evening.
func weekdays(zone string) calendar.Config {
	c := calendar.Config{Zone: zone, Week: map[time.Weekday][]calendar.Shift{}}
	for d := time.Monday; d <= time.Friday; d++ {
		c.Week[d] = []calendar.Shift{calendar.Hours(6, 12), calendar.Hours(13, 18)}
	}
	c.Week[time.Friday] = append(c.Week[time.Friday], calendar.Hours(22, 30))
	return c
}

func at(t testing.TB, cal *calendar.Calendar, s string) time.Time {
	t.Helper()
	when, err := time.ParseInLocation("2006-01-02 15:04", s, cal.Zone())
	if err != nil {
		t.Fatal(err)
	}
	return when
}

func TestAddWorking(t *testing.T) {
	c := weekdays("Europe/Berlin")
	c.Special = map[calendar.Date][]calendar.Shift{
		{Year: 2026, Month: time.May, Day: 1}: nil,                     // holiday, a Friday
		{Year: 2026, Month: time.May, Day: 9}: {calendar.Hours(8, 10)}, // overtime on a Saturday
	}
	plain := plant(t, c)
	c.Maintenance = []calendar.Window{{Reason: "mill", Interval: calendar.Interval{
		Start: at(t, plain, "2026-05-04 09:00"), End: at(t, plain, "2026-05-04 15:00")}}}
	cal := plant(t, c)
	for _, x := range []struct {
		from  string
		hours int
		want  string
	}{
		{"2026-04-27 06:00", 6, "2026-04-27 12:00"},  // to the end of a shift, not to the next
		{"2026-04-27 06:00", 7, "2026-04-27 14:00"},  // over the pause
		{"2026-04-27 03:00", 1, "2026-04-27 07:00"},  // from before the shift
		{"2026-04-30 17:00", 2, "2026-05-04 07:00"},  // over a holiday, its night shift and the weekend
		{"2026-05-04 08:00", 2, "2026-05-04 16:00"},  // over maintenance
		{"2026-05-08 17:00", 10, "2026-05-09 09:00"}, // the night shift, then overtime
		{"2026-05-08 23:00", 0, "2026-05-08 23:00"},
	} {
		from := at(t, cal, x.from)
		got, err := cal.AddWorking(from, time.Duration(x.hours)*time.Hour)
		if err != nil || !got.Equal(at(t, cal, x.want)) {
			t.Errorf("%s + %d h = %s, %v; want %s", x.from, x.hours, got, err, x.want)
		}
		back, err := cal.Between(from, got)
		if err != nil || back != time.Duration(x.hours)*time.Hour {
			t.Errorf("between %s and %s: %s, %v", x.from, got, back, err)
		}
	}
	next, err := cal.NextOpening(at(t, cal, "2026-04-30 18:00"))
	if err != nil || !next.Equal(at(t, cal, "2026-05-04 06:00")) {
		t.Errorf("after the shift before a holiday: %s, %v", next, err)
	}
	if !cal.IsOpen(at(t, cal, "2026-05-09 05:59")) || cal.IsOpen(at(t, cal, "2026-05-09 06:00")) {
		t.Error("the night shift of a Friday must end on Saturday at 06:00")
	}
}

// The clocks in Central Europe change on the last Sundays of March and October
// at 01:00 UTC (EU directive 2000/84/EC).
func TestShiftsOverAClockChange(t *testing.T) {
	c := calendar.Config{Zone: "Europe/Berlin", Week: map[time.Weekday][]calendar.Shift{
		time.Saturday: {calendar.Hours(22, 30)}, time.Sunday: {{Start: 150, End: 165}},
	}}
	cal := plant(t, c)
	for _, x := range []struct {
		from, until string
		want        time.Duration
	}{
		{"2026-03-21 20:00", "2026-03-22 12:00", 8 * time.Hour},
		{"2026-03-28 20:00", "2026-03-29 12:00", 7 * time.Hour}, // spring: 02:00 to 03:00 is skipped
		{"2026-10-24 20:00", "2026-10-25 12:00", 9 * time.Hour}, // autumn: it happens twice
	} {
		got, err := cal.Between(at(t, cal, x.from), at(t, cal, x.until))
		if err != nil || got != x.want {
			t.Errorf("from %s: %s, %v; want %s", x.from, got, err, x.want)
		}
	}
	delete(c.Week, time.Saturday)
	short := plant(t, c) // 02:30 to 02:45 on Sundays only
	for day, want := range map[string]time.Duration{"2026-03-22": 15 * time.Minute, "2026-03-29": 0, "2026-10-25": 15 * time.Minute} {
		got, err := short.Between(at(t, short, day+" 00:00"), at(t, short, day+" 12:00"))
		if err != nil || got != want {
			t.Errorf("02:30 to 02:45 on %s: %s, %v; want %s", day, got, err, want)
		}
	}
	if first, err := short.NextOpening(at(t, short, "2026-10-25 00:00")); err != nil || first.UTC().Hour() != 0 {
		t.Errorf("02:30 that happens twice starts at %s (%v), want the first, 00:30 UTC", first.UTC(), err)
	}
}

// Samoa left out 30 December 2011 altogether (IANA time zone data).
func TestADayThatDoesNotExist(t *testing.T) {
	c := calendar.Config{Zone: "Pacific/Apia", Week: map[time.Weekday][]calendar.Shift{}}
	for d := time.Sunday; d <= time.Saturday; d++ {
		c.Week[d] = []calendar.Shift{calendar.Hours(8, 16)}
	}
	cal := plant(t, c)
	got, err := cal.Between(at(t, cal, "2011-12-28 00:00"), at(t, cal, "2012-01-02 00:00"))
	if err != nil || got != 4*8*time.Hour { // 28, 29, 31 December and 1 January
		t.Errorf("worked %s, %v; want 32h", got, err)
	}
}

func TestBadCalendars(t *testing.T) {
	week := func(s calendar.Shift) map[time.Weekday][]calendar.Shift {
		return map[time.Weekday][]calendar.Shift{time.Monday: {s}}
	}
	noon := time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)
	for name, x := range map[string]struct {
		c   calendar.Config
		err error
	}{
		"no zone":         {calendar.Config{}, calendar.ErrZone},
		"machine's zone":  {calendar.Config{Zone: "Local"}, calendar.ErrZone},
		"unknown zone":    {calendar.Config{Zone: "Mars/Olympus"}, calendar.ErrZone},
		"path as zone":    {calendar.Config{Zone: "../../etc/passwd"}, calendar.ErrZone},
		"ends too early":  {calendar.Config{Zone: "UTC", Week: week(calendar.Hours(14, 6))}, calendar.ErrShift},
		"starts too late": {calendar.Config{Zone: "UTC", Week: week(calendar.Hours(24, 30))}, calendar.ErrShift},
		"too long":        {calendar.Config{Zone: "UTC", Week: week(calendar.Hours(6, 31))}, calendar.ErrShift},
		"eighth weekday":  {calendar.Config{Zone: "UTC", Week: map[time.Weekday][]calendar.Shift{7: nil}}, calendar.ErrShift},
		"bad special day": {calendar.Config{Zone: "UTC", Special: map[calendar.Date][]calendar.Shift{{Year: 2026, Month: 1, Day: 1}: {{Start: -1, End: 5}}}}, calendar.ErrShift},
		"empty window":    {calendar.Config{Zone: "UTC", Maintenance: []calendar.Window{{Interval: calendar.Interval{Start: noon, End: noon}}}}, calendar.ErrWindow},
	} {
		if _, err := calendar.New(x.c); !errors.Is(err, x.err) {
			t.Errorf("%s: %v, want %v", name, err, x.err)
		}
	}
	never := plant(t, calendar.Config{Zone: "UTC"})
	if _, err := never.AddWorking(noon, time.Hour); !errors.Is(err, calendar.ErrNeverOpen) {
		t.Errorf("a plant without shifts: %v", err)
	}
	if _, err := never.SubWorking(noon, time.Hour); !errors.Is(err, calendar.ErrNeverOpen) {
		t.Errorf("a plant without shifts, backwards: %v", err)
	}
	if _, err := never.NextOpening(noon); !errors.Is(err, calendar.ErrNeverOpen) {
		t.Errorf("a plant without shifts opens: %v", err)
	}
	if _, err := never.AddWorking(noon, -1); !errors.Is(err, calendar.ErrDuration) {
		t.Errorf("negative working time: %v", err)
	}
	if _, err := never.Between(noon, noon.AddDate(100, 0, 0)); !errors.Is(err, calendar.ErrTooManyDays) {
		t.Errorf("a hundred years: %v", err)
	}
}

var zones = []string{"UTC", "Europe/Berlin", "America/New_York", "America/Sao_Paulo", "Asia/Kolkata",
	"Australia/Lord_Howe", "Pacific/Apia", "Africa/Casablanca", "Asia/Tehran", "America/St_Johns"}

func randomPlant(t *rapid.T) *calendar.Calendar {
	c := calendar.Config{Zone: rapid.SampledFrom(zones).Draw(t, "zone"), Week: map[time.Weekday][]calendar.Shift{}}
	shift := func() calendar.Shift {
		start := rapid.IntRange(0, 24*60-1).Draw(t, "start")
		return calendar.Shift{Start: start, End: start + rapid.IntRange(1, 24*60).Draw(t, "length")}
	}
	for d := time.Sunday; d <= time.Saturday; d++ {
		for range rapid.IntRange(0, 2).Draw(t, "shifts") {
			c.Week[d] = append(c.Week[d], shift())
		}
	}
	start := rapid.IntRange(0, 24*60-1).Draw(t, "start")
	long := calendar.Shift{Start: start, End: start + 240} // in ten years enough for every time that is drawn
	c.Week[time.Wednesday] = append(c.Week[time.Wednesday], long)
	c.Special = map[calendar.Date][]calendar.Shift{{Year: 2026, Month: time.March, Day: rapid.IntRange(1, 31).Draw(t, "holiday")}: nil}
	for range rapid.IntRange(0, 3).Draw(t, "windows") {
		start := moment(t, "window")
		c.Maintenance = append(c.Maintenance, calendar.Window{Interval: calendar.Interval{
			Start: start, End: start.Add(time.Duration(rapid.IntRange(1, 5000).Draw(t, "minutes")) * time.Minute)}})
	}
	cal, err := calendar.New(c)
	if err != nil {
		t.Fatal(err)
	}
	return cal
}

func moment(t *rapid.T, label string) time.Time {
	return time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 365*24*60).Draw(t, label)) * time.Minute)
}

// In every zone: adding working time and measuring it are inverse, adding in
// two steps is adding at once, and an earlier start never ends later.
func TestWorkingTimeAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cal := randomPlant(t)
		from := moment(t, "from")
		a := time.Duration(rapid.IntRange(0, 6000).Draw(t, "a")) * time.Minute
		b := time.Duration(rapid.IntRange(1, 6000).Draw(t, "b")) * time.Minute
		mid, err := cal.AddWorking(from, a)
		if err != nil {
			t.Fatal(err)
		}
		end, err := cal.AddWorking(mid, b)
		if err != nil {
			t.Fatal(err)
		}
		once, err := cal.AddWorking(from, a+b)
		if err != nil || !once.Equal(end) {
			t.Fatalf("%s + %s + %s = %s, at once %s (%v)", from, a, b, end, once, err)
		}
		if worked, err := cal.Between(from, end); err != nil || worked != a+b {
			t.Fatalf("worked %s, want %s (%v)", worked, a+b, err)
		}
		back, err := cal.SubWorking(end, b)
		if err != nil {
			t.Fatal(err)
		}
		if worked, err := cal.Between(back, end); err != nil || worked != b || back.Before(mid) {
			t.Fatalf("%s back from %s is %s, which is %s of work away (%v)", b, end, back, worked, err)
		}
		later, err := cal.AddWorking(from.Add(37*time.Minute), a+b)
		if err != nil || later.Before(end) {
			t.Fatalf("started 37 minutes later, done at %s, before %s (%v)", later, end, err)
		}
	})
}

// The opening times are in order, do not touch, lie in the span, and agree with
// IsOpen and NextOpening; a span cut in two has the same working time.
func TestOpeningTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cal := randomPlant(t)
		from := moment(t, "from")
		until := from.Add(time.Duration(rapid.IntRange(1, 40*24*60).Draw(t, "span")) * time.Minute)
		open, err := cal.Open(from, until)
		if err != nil {
			t.Fatal(err)
		}
		last := from.Add(-1)
		for _, i := range open {
			if !i.Start.After(last) || !i.End.After(i.Start) || i.End.After(until) {
				t.Fatalf("%v is out of order or out of the span after %s", i, last)
			}
			if !cal.IsOpen(i.Start) || !cal.IsOpen(i.End.Add(-1)) || (i.End.Before(until) && cal.IsOpen(i.End)) {
				t.Fatalf("IsOpen disagrees about %v", i)
			}
			last = i.End
		}
		if len(open) > 0 {
			if next, err := cal.NextOpening(from); err != nil || !next.Equal(open[0].Start) {
				t.Fatalf("next opening %s (%v), want %s", next, err, open[0].Start)
			}
		}
		cut := from.Add(until.Sub(from) / 3)
		whole, err1 := cal.Between(from, until)
		left, err2 := cal.Between(from, cut)
		right, err3 := cal.Between(cut, until)
		if err := errors.Join(err1, err2, err3); err != nil || left+right != whole {
			t.Fatalf("%s + %s is not %s (%v)", left, right, whole, err)
		}
	})
}
