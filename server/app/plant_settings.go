package app

import (
	"context"
	"fmt"
	"time"

	"millbase/costing/money"
)

// Plant reads the plant's figures.
func (b *Book) Plant(ctx context.Context) (Record[Plant], error) {
	var rec Record[Plant]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		rec, err = tx.Plant().Get(ctx)
		return err
	})
	return rec, err
}

// plantIn reads the plant's figures for a use case that can't do without them.
func plantIn(ctx context.Context, tx Tx) (Record[Plant], error) {
	p, err := tx.Plant().Get(ctx)
	if isNotFound(err) {
		return p, Faultf(ErrNotReady, "PLANT_NOT_SET", "plant", "the plant's figures have not been entered yet; enter them first (PUT /v1/plant)")
	}
	return p, err
}

// PutPlant replaces the plant's figures; version is the one that was read, 0
// skips the check.
func (b *Book) PutPlant(ctx context.Context, p Plant, version int64) (Record[Plant], error) {
	if p.WaterDensityKgPerL == 0 {
		p.WaterDensityKgPerL = usualWaterDensity
	}
	if bad := p.check(); len(bad) > 0 {
		return Record[Plant]{}, bad
	}
	var rec Record[Plant]
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) (err error) {
		rec, err = tx.Plant().Put(ctx, p, version)
		return err
	})
	return rec, err
}

// usualWaterDensity is that of water at 25 C in kg/L (common practice; rules use
// 0.995 to 0.998).
const usualWaterDensity = 0.997

func (p Plant) check() Invalid {
	var bad Invalid
	add := func(field, format string, args ...any) {
		bad = append(bad, FieldError{"plant." + field, fmt.Sprintf(format, args...)})
	}
	if err := money.CheckCurrency(p.Currency); err != nil {
		add("currency_code", "%q is not a currency; give the three capital letters of ISO 4217", p.Currency)
	}
	if _, err := time.LoadLocation(p.TimeZone); err != nil || p.TimeZone == "" || p.TimeZone == "Local" {
		add("time_zone", "%q is not known; use an IANA name such as Europe/Lisbon", p.TimeZone)
	}
	if p.WaterDensityKgPerL < 0.9 || p.WaterDensityKgPerL > 1.1 {
		add("water_density_kg_per_l", "%g kg/L is not the density of water; rules use 0.995 to 0.998", p.WaterDensityKgPerL)
	}
	if p.MarginPercent.IntPart() >= 100 {
		add("margin_percent", "must be below 100: it is a share of the price")
	}
	if p.UnderDeliveryPercent.IntPart() >= 100 {
		add("under_delivery_percent", "must be below 100: it is a share of what was ordered")
	}
	for i, s := range p.Shifts {
		if s.ToMinute <= s.FromMinute {
			add(fmt.Sprintf("shifts[%d].to_time", i), "must be later than from_time; give a night shift as two, up to 24:00 and from 00:00")
		}
	}
	p.checkMachines(add)
	seen := map[string]bool{}
	for i, r := range p.Rates {
		field := fmt.Sprintf("exchange_rates[%d]", i)
		if r.Currency == p.Currency {
			add(field+".currency_code", "%s is the plant's own currency; leave it out", r.Currency)
		}
		if r.Rate.Sign() <= 0 {
			add(field+".rate", "must be above zero")
		}
		if seen[r.Currency] {
			add(field+".currency_code", "%s stands there twice", r.Currency)
		}
		seen[r.Currency] = true
	}
	seen = map[string]bool{}
	for i, k := range p.Packs {
		if seen[k.ID] {
			add(fmt.Sprintf("packs[%d].pack_id", i), "%q stands for two packs; give each its own id", k.ID)
		}
		seen[k.ID] = true
	}
	for i, s := range p.Scales {
		if s.Division <= 0 {
			add(fmt.Sprintf("scales[%d].division_kg", i), "must be above zero: what the scale reads in")
		}
		if s.From < 0 {
			add(fmt.Sprintf("scales[%d].from_kg", i), "must not be below zero")
		}
	}
	return bad
}

// checkMachines looks at the machines.
func (p *Plant) checkMachines(add func(field, format string, args ...any)) {
	seen := map[string]bool{}
	for i, m := range p.Machines {
		field := fmt.Sprintf("machines[%d]", i)
		if seen[m.ID] {
			add(field+".machine_id", "%q stands for two machines; give each its own id", m.ID)
		}
		seen[m.ID] = true
		if m.KgPerHour.Sign() == 0 && m.MinutesPerBatch == 0 {
			add(field+".throughput_kg_per_h", "give the throughput, or minutes_per_batch: one of them must be above zero")
		}
		if m.ShortWashUp > m.WashUpMinutes {
			add(field+".short_wash_up_minutes", "a short wash-up takes no longer than the full one of %d minutes", m.WashUpMinutes)
		}
		if m.Capacity > 0 && m.LossPerCharge >= m.Capacity {
			add(field+".loss_per_charge_kg", "less stays in the machine than it holds, %s", m.Capacity)
		}
		if (m.Crew.Sign() > 0) != (m.LabourPerHour.Sign() > 0) {
			add(field+".crew", "give crew and labour_rate_per_hour together, or leave both out and labour in rate_per_hour")
		}
	}
}
