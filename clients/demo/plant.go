package demo

import (
	"time"

	"google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
)

// eur is an amount of euros; v has at most four decimals.
func eur(v float64) *money.Money { return amount("EUR", v) }

func amount(currency string, v float64) *money.Money {
	tenThousandths := int64(v*1e4 + 0.5)
	return &money.Money{CurrencyCode: currency, Units: tenThousandths / 1e4, Nanos: int32(tenThousandths % 1e4 * 1e5)}
}

// supplier is a row of the demo plant's supplier list.
type supplier struct {
	id, title, currency string
	leadDays            int32
	freight             float64 // per kg in its currency
	duty                string  // percent
	factor              float64 // its price level against the list price
}

var suppliers = []supplier{
	{"veldrin", "Veldrin Pigments", "EUR", 14, 0.06, "", 1.00},
	{"harrowfen", "Harrowfen Colour", "EUR", 10, 0.08, "", 1.03},
	{"maraun", "Maraun Trading", "USD", 35, 0.22, "5.5", 0.93},
	{"ostrova", "Ostrova Resins", "EUR", 9, 0.05, "", 1.00},
	{"lindholt", "Lindholt Varnish", "EUR", 6, 0.04, "", 1.02},
	{"quellmark", "Quellmark Oils", "EUR", 7, 0.04, "", 1.00},
	{"sundmarsh", "Sundmarsh Chemicals", "EUR", 8, 0.05, "", 1.01},
	{"brackenau", "Brackenau Driers", "GBP", 12, 0.15, "3", 0.87},
	{"pellwick", "Pellwick Waxes", "EUR", 10, 0.07, "", 1.00},
	{"ketterby", "Ketterby Packaging", "EUR", 5, 0, "", 1.00},
}

func supplierByID(id string) supplier {
	for _, s := range suppliers {
		if s.id == id {
			return s
		}
	}
	panic("demo: no supplier " + id)
}

// rates are plant currency per unit.
var rates = map[string]struct {
	text  string
	value float64
}{"EUR": {"1", 1}, "USD": {"0.9125", 0.9125}, "GBP": {"1.168", 1.168}}

// plant gives the plant's own figures for a book loaded on the day.
func plant(today time.Time, etag string) *pb.Plant {
	p := &pb.Plant{
		Title: "Tarnbeck Ink Works", CurrencyCode: "EUR", TimeZone: "Europe/Amsterdam",
		WaterDensityKgPerL: 0.997, ScaleDivisionKg: 0.01, OverheadPercent: "12", MarginPercent: "28",
		LaboratoryCharge: eur(85), QualityReleaseDays: 1, Etag: etag,
		Scales: []*pb.Scale{
			{Title: "laboratory balance", DivisionKg: 0.0001},
			{Title: "bench scale", DivisionKg: 0.01, FromKg: 0.5},
			{Title: "floor scale", DivisionKg: 0.1, FromKg: 20},
		},
		Packs: []*pb.Pack{
			{PackId: "tin-1", Title: "Vacuum tin 1 kg", HoldsKg: 1, Cost: eur(0.62)},
			{PackId: "tin-2-5", Title: "Vacuum tin 2.5 kg", HoldsKg: 2.5, Cost: eur(0.98)},
			{PackId: "pail-20", Title: "Pail 20 kg", HoldsKg: 20, Cost: eur(3.40)},
		},
	}
	for day := int32(1); day <= 5; day++ {
		p.Shifts = append(p.Shifts,
			&pb.Shift{IsoWeekday: day, FromTime: "06:00", ToTime: "14:00"},
			&pb.Shift{IsoWeekday: day, FromTime: "14:00", ToTime: "22:00"})
	}
	// One invented works holiday, so that the calendar has a gap.
	p.HolidayDates = []string{today.AddDate(0, 0, 16).Format(time.DateOnly)}
	for _, c := range []string{"GBP", "USD"} {
		p.ExchangeRates = append(p.ExchangeRates, &pb.ExchangeRate{CurrencyCode: c, Rate: rates[c].text, RateDate: today.Format(time.DateOnly)})
	}
	p.Machines = machines()
	return p
}

// machines are the plant's own: 3 mixers, 2 bead mills, 3 three-roll mills, the
// laboratory and the filling line, with the plant's own throughput and rates.
func machines() []*pb.Machine {
	premix, bead, roll := pb.ProcessStep_PROCESS_STEP_PREMIX, pb.ProcessStep_PROCESS_STEP_BEAD_MILL, pb.ProcessStep_PROCESS_STEP_THREE_ROLL_MILL
	letDown, final := pb.ProcessStep_PROCESS_STEP_LET_DOWN, pb.ProcessStep_PROCESS_STEP_FINAL_THREE_ROLL_PASS
	mk := func(id, title string, capacity, kgPerHour, rate float64, perBatch, setup, wash int32, steps ...pb.ProcessStep) *pb.Machine {
		return &pb.Machine{MachineId: id, Title: title, CapacityKg: capacity, ThroughputKgPerH: kgPerHour, RatePerHour: eur(rate),
			MinutesPerBatch: perBatch, SetupMinutes: setup, WashUpMinutes: wash, Steps: steps}
	}
	out := []*pb.Machine{
		mk("mixer-1", "Mixer 1", 800, 0, 46, 55, 10, 20, premix, letDown),
		mk("mixer-2", "Mixer 2", 800, 0, 46, 55, 10, 20, premix, letDown),
		mk("mixer-3", "Mixer 3", 250, 0, 38, 40, 10, 15, premix, letDown),
		mk("bead-1", "Bead mill 1", 0, 260, 72, 0, 20, 45, bead),
		mk("bead-2", "Bead mill 2", 0, 180, 64, 0, 20, 40, bead),
		mk("roll-1", "Three-roll mill 1", 0, 210, 58, 0, 10, 25, roll, final),
		mk("roll-2", "Three-roll mill 2", 0, 160, 54, 0, 10, 25, roll, final),
		mk("roll-3", "Three-roll mill 3", 0, 90, 49, 0, 10, 20, roll, final),
		mk("laboratory", "Laboratory bench", 0, 0, 52, 45, 0, 0, pb.ProcessStep_PROCESS_STEP_QUALITY_TEST),
		mk("filling", "Filling line", 0, 400, 36, 0, 10, 15, pb.ProcessStep_PROCESS_STEP_CANNING),
	}
	for _, m := range out {
		switch m.MachineId[:4] {
		case "mixe":
			m.ShortWashUpMinutes = 8
		case "bead":
			m.ShortWashUpMinutes = 15
		case "roll":
			m.ShortWashUpMinutes = 10
		}
	}
	return out
}

// Today is the calendar date at the demo plant, as midnight UTC.
func Today(now time.Time) time.Time {
	if zone, err := time.LoadLocation("Europe/Amsterdam"); err == nil {
		now = now.In(zone)
	}
	y, m, d := now.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}
