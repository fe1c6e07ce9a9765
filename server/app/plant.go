package app

import (
	"time"

	"github.com/shopspring/decimal"

	"millbase/inventory/mass"
)

// Plant is the plant's own figures: nothing of it is a constant of the program.
type Plant struct {
	Title    string
	Currency string // ISO 4217
	TimeZone string // IANA name
	// WaterDensityKgPerL enters VOC less water; rules differ.
	WaterDensityKgPerL float64
	ScaleDivision      mass.Mass // smallest division of the weigh-up scale
	OverheadPercent    decimal.Decimal
	MarginPercent      decimal.Decimal // usual margin, share of the price
	LaboratoryCharge   decimal.Decimal
	// By how much a delivery may differ from what was ordered.
	OverDeliveryPercent  decimal.Decimal
	UnderDeliveryPercent decimal.Decimal
	QualityReleaseDays   int // working days from end of production to release
	Shifts               []Shift
	Holidays             []time.Time // calendar dates
	Machines             []Machine
	Rates                []ExchangeRate
	Packs                []Pack
	Scales               []Scale
}

// Scale is a scale or balance that formulas are weighed on.
type Scale struct {
	Title    string
	Division mass.Mass
	From     mass.Mass // the least that is weighed on it
}

// Shift is a working window on a weekday, in minutes from local midnight.
type Shift struct {
	Weekday    time.Weekday
	FromMinute int
	ToMinute   int
}

// Machine is one mixer, mill, laboratory bench or filling line.
type Machine struct {
	ID              string
	Title           string
	Steps           []string        // process steps that it can do
	Capacity        mass.Mass       // largest charge; 0: no limit
	KgPerHour       decimal.Decimal // throughput; 0: MinutesPerBatch only
	MinutesPerBatch int
	SetupMinutes    int
	WashUpMinutes   int
	RatePerHour     decimal.Decimal // plant currency; with labour where LabourPerHour does not stand for it
	LossPercent     decimal.Decimal // of what goes in
	LossPerCharge   mass.Mass       // what stays in it
	// ShortWashUp is in minutes, from a lighter ink to a darker one; 0: always
	// WashUpMinutes.
	ShortWashUp   int
	LabourPerHour decimal.Decimal // per person
	Crew          decimal.Decimal // people who attend
}

// ExchangeRate is what one unit of Currency is worth in the plant's currency.
type ExchangeRate struct {
	Currency string
	Rate     decimal.Decimal
	Date     time.Time
}

// Pack is a container that ink is sold in.
type Pack struct {
	ID       string
	Title    string
	Holds    mass.Mass
	Material string // packaging material, for stock; may be empty
	Cost     decimal.Decimal
}
