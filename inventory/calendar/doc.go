// Package calendar is the plant's working calendar: when the plant works, and
// what a length of working time means on the clock.
//
// A calendar has a time zone (IANA name), shifts for each weekday, special days
// (a holiday is one without shifts) and maintenance windows. A shift belongs to
// the day on which it starts, so a night shift from 22:00 to 30:00 on Friday
// ends on Saturday morning even if Saturday is a holiday.
//
// All lengths are true elapsed time. A night shift is an hour shorter or longer
// when the clocks change: shifts start and end by the wall clock, work is
// counted by the second. A wall-clock time that the change skips means the
// moment of the change; one that happens twice means the first.
//
// The package never looks at the clock. It carries the time zone data itself,
// so it does not depend on what is installed.
package calendar
