package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/shopspring/decimal"

	"millbase/inventory/mass"
	"millbase/server/app"
)

// plantID is the id of the one row.
const plantID = "plant"

type shiftRow struct {
	Weekday    time.Weekday `json:"weekday"`
	FromMinute int          `json:"from_minute"`
	ToMinute   int          `json:"to_minute"`
}

type machineRow struct {
	ID              string          `json:"id"`
	Title           string          `json:"title"`
	Steps           []string        `json:"steps"`
	Capacity        mass.Mass       `json:"capacity_mg"`
	KgPerHour       decimal.Decimal `json:"kg_per_hour"`
	MinutesPerBatch int             `json:"minutes_per_batch"`
	SetupMinutes    int             `json:"setup_minutes"`
	WashUpMinutes   int             `json:"wash_up_minutes"`
	RatePerHour     decimal.Decimal `json:"rate_per_hour"`
	LossPercent     decimal.Decimal `json:"loss_percent"`
	LossPerCharge   mass.Mass       `json:"loss_per_charge_mg,omitempty"`
	ShortWashUp     int             `json:"short_wash_up_minutes,omitempty"`
	LabourPerHour   decimal.Decimal `json:"labour_per_hour"`
	Crew            decimal.Decimal `json:"crew"`
}

type rateRow struct {
	Currency string          `json:"currency"`
	Rate     decimal.Decimal `json:"rate"`
	Date     time.Time       `json:"date"`
}

type packRow struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Holds    mass.Mass       `json:"holds_mg"`
	Material string          `json:"material"`
	Cost     decimal.Decimal `json:"cost"`
}

type scaleRow struct {
	Title    string    `json:"title"`
	Division mass.Mass `json:"division_mg"`
	From     mass.Mass `json:"from_mg"`
}

var plantTable = &table[app.Plant]{
	name: "plant", noun: "plant", path: "plant",
	id:    func(*app.Plant) string { return plantID },
	setID: func(*app.Plant, string) {},
	columns: []column[app.Plant]{
		plain("title", func(p *app.Plant) *string { return &p.Title }),
		plain("currency", func(p *app.Plant) *string { return &p.Currency }),
		plain("time_zone", func(p *app.Plant) *string { return &p.TimeZone }),
		plain("water_density_kg_per_l", func(p *app.Plant) *float64 { return &p.WaterDensityKgPerL }),
		milligrams("scale_division_mg", func(p *app.Plant) *mass.Mass { return &p.ScaleDivision }),
		plain("overhead_percent", func(p *app.Plant) *decimal.Decimal { return &p.OverheadPercent }),
		plain("margin_percent", func(p *app.Plant) *decimal.Decimal { return &p.MarginPercent }),
		plain("laboratory_charge", func(p *app.Plant) *decimal.Decimal { return &p.LaboratoryCharge }),
		plain("over_delivery_percent", func(p *app.Plant) *decimal.Decimal { return &p.OverDeliveryPercent }),
		plain("under_delivery_percent", func(p *app.Plant) *decimal.Decimal { return &p.UnderDeliveryPercent }),
		plain("quality_release_days", func(p *app.Plant) *int { return &p.QualityReleaseDays }),
		parts("shifts", func(p *app.Plant) *[]app.Shift { return &p.Shifts },
			func(s app.Shift) shiftRow { return shiftRow(s) }, func(r shiftRow) app.Shift { return app.Shift(r) }),
		object("holidays", func(p *app.Plant) *[]time.Time { return &p.Holidays }),
		parts("machines", func(p *app.Plant) *[]app.Machine { return &p.Machines },
			func(m app.Machine) machineRow { return machineRow(m) }, func(r machineRow) app.Machine { return app.Machine(r) }),
		parts("rates", func(p *app.Plant) *[]app.ExchangeRate { return &p.Rates },
			func(x app.ExchangeRate) rateRow { return rateRow(x) }, func(r rateRow) app.ExchangeRate { return app.ExchangeRate(r) }),
		parts("packs", func(p *app.Plant) *[]app.Pack { return &p.Packs },
			func(k app.Pack) packRow { return packRow(k) }, func(r packRow) app.Pack { return app.Pack(r) }),
		parts("scales", func(p *app.Plant) *[]app.Scale { return &p.Scales },
			func(s app.Scale) scaleRow { return scaleRow(s) }, func(r scaleRow) app.Scale { return app.Scale(r) }),
	},
}

// plantRepo keeps the plant's one row.
type plantRepo struct {
	rows repo[app.Plant]
	x    *tx
}

const plantKey = "plant"

func (p plantRepo) listing() *listing[app.Plant] {
	return &listing[app.Plant]{key: plantKey, table: "plant", id: "id", of: p.rows.id, cols: p.rows.selected(), scan: p.rows.scan, order: "id", kept: &p.x.kept.plant}
}

// Get returns ErrNotFound before the first Put.
func (p plantRepo) Get(ctx context.Context) (app.Record[app.Plant], error) {
	if there, ok := p.x.ahead[plantKey].([]app.Record[app.Plant]); ok && len(there) == 1 {
		return there[0], nil
	}
	r, err := p.rows.Get(ctx, plantID)
	if errors.Is(err, app.ErrNotFound) {
		return r, app.Faultf(app.ErrNotFound, "NOT_FOUND", "plant", "the plant's settings have not been entered yet: enter them first")
	}
	return r, err
}

// Put makes the row or replaces it; version 0 skips the check.
func (p plantRepo) Put(ctx context.Context, v app.Plant, version int64) (app.Record[app.Plant], error) {
	if _, err := time.LoadLocation(v.TimeZone); err != nil {
		return app.Record[app.Plant]{}, app.InvalidField("time_zone", "%q is not the IANA name of a time zone such as Europe/Vienna", v.TimeZone)
	}
	p.x.ahead = nil
	r, err := p.rows.Update(ctx, v, version)
	if !errors.Is(err, app.ErrNotFound) || version != 0 {
		return r, err
	}
	r, err = p.create(ctx, v)
	if errors.Is(err, app.ErrExists) { // made by someone else since
		return p.rows.Update(ctx, v, version)
	}
	return r, err
}

// create inserts under a savepoint: its failure must leave the transaction
// usable.
func (p plantRepo) create(ctx context.Context, v app.Plant) (r app.Record[app.Plant], err error) {
	err = pgx.BeginFunc(ctx, p.rows.d, func(t pgx.Tx) error {
		r, err = repo[app.Plant]{p.rows.table, t}.Create(ctx, v)
		return err
	})
	return r, err
}
