package rpc

import (
	"cmp"
	"context"
	"fmt"
	"strconv"
	"time"

	pb "millbase/proto/millbase/v1"

	"millbase/server/app"
)

// plantService serves the plant's figures and the API keys.
type plantService struct {
	pb.UnimplementedPlantServiceServer
	book *app.Book
}

func (s *plantService) GetPlant(ctx context.Context, _ *pb.GetPlantRequest) (*pb.Plant, error) {
	rec, err := s.book.Plant(ctx)
	return plantOut(ctx, rec), err
}

func (s *plantService) UpdatePlant(ctx context.Context, req *pb.UpdatePlantRequest) (*pb.Plant, error) {
	f := &fields{}
	version := f.etag("plant.etag", req.GetPlant().GetEtag())
	p := plantOf(f, req.GetPlant())
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.PutPlant(ctx, p, version)
	return plantOut(ctx, rec), err
}

func (s *plantService) CreateKey(ctx context.Context, req *pb.CreateKeyRequest) (*pb.CreateKeyResponse, error) {
	rec, secret, err := s.book.CreateKey(ctx, req.GetKeyId(), req.GetKey().GetTitle(), app.Role(word(req.GetKey().GetRole())))
	if err != nil {
		return nil, err
	}
	return &pb.CreateKeyResponse{Key: keyOut(rec), Secret: secret}, nil
}

func (s *plantService) ListKeys(ctx context.Context, req *pb.ListKeysRequest) (*pb.ListKeysResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), keys)
	if err != nil {
		return nil, err
	}
	recs, err := s.book.Keys(ctx, p.query(nil))
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[app.APIKey]) string { return r.Value.ID })
	return &pb.ListKeysResponse{Keys: each(recs, keyOut), NextPageToken: next}, nil
}

func (s *plantService) RevokeKey(ctx context.Context, req *pb.RevokeKeyRequest) (*pb.Key, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), keys)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.RevokeKey(ctx, id)
	return keyOut(rec), err
}

func (s *plantService) WhoAmI(ctx context.Context, _ *pb.WhoAmIRequest) (*pb.WhoAmIResponse, error) {
	c := app.CallerOf(ctx)
	return &pb.WhoAmIResponse{Key: nameOf(keys, c.Key), Role: enum[pb.Role](string(c.Role))}, nil
}

func keyOut(r app.Record[app.APIKey]) *pb.Key {
	k := r.Value
	return &pb.Key{Name: nameOf(keys, k.ID), Title: k.Title, Role: enum[pb.Role](k.Role), Revoked: k.Revoked, CreateTime: momentOut(r.CreatedAt)}
}

// usualOverDelivery is the tolerance where the plant names none, percent.
const usualOverDelivery = "10"

func plantOf(f *fields, p *pb.Plant) app.Plant {
	currency := p.GetCurrencyCode()
	out := app.Plant{
		Title: p.GetTitle(), Currency: currency, TimeZone: p.GetTimeZone(), WaterDensityKgPerL: f.number("plant.water_density_kg_per_l", p.GetWaterDensityKgPerL()),
		ScaleDivision: f.mass("plant.scale_division_kg", p.GetScaleDivisionKg()), OverheadPercent: f.decimal("plant.overhead_percent", p.GetOverheadPercent()),
		MarginPercent: f.decimal("plant.margin_percent", p.GetMarginPercent()), LaboratoryCharge: f.price("plant.laboratory_charge", p.GetLaboratoryCharge(), currency),
		QualityReleaseDays: int(p.GetQualityReleaseDays()),
	}
	for _, s := range p.GetShifts() {
		out.Shifts = append(out.Shifts, app.Shift{Weekday: time.Weekday(s.GetIsoWeekday() % 7), FromMinute: minutes(s.GetFromTime()), ToMinute: minutes(s.GetToTime())})
	}
	for i, d := range p.GetHolidayDates() {
		out.Holidays = append(out.Holidays, f.needDate(fmt.Sprintf("plant.holiday_dates[%d]", i), d))
	}
	for i, m := range p.GetMachines() {
		out.Machines = append(out.Machines, machineOf(f, fmt.Sprintf("plant.machines[%d].", i), m, currency))
	}
	for i, r := range p.GetExchangeRates() {
		field := fmt.Sprintf("plant.exchange_rates[%d].", i)
		out.Rates = append(out.Rates, app.ExchangeRate{Currency: r.GetCurrencyCode(), Rate: f.decimal(field+"rate", r.GetRate()), Date: f.needDate(field+"rate_date", r.GetRateDate())})
	}
	for i, k := range p.GetPacks() {
		field := fmt.Sprintf("plant.packs[%d].", i)
		out.Packs = append(out.Packs, app.Pack{ID: k.GetPackId(), Title: k.GetTitle(), Holds: f.positive(field+"holds_kg", k.GetHoldsKg()), Cost: f.price(field+"cost", k.GetCost(), currency)})
	}
	out.Scales = f.scales("plant.scales", p.GetScales())
	out.OverDeliveryPercent = f.decimal("plant.over_delivery_percent", cmp.Or(p.GetOverDeliveryPercent(), usualOverDelivery))
	out.UnderDeliveryPercent = f.decimal("plant.under_delivery_percent", p.GetUnderDeliveryPercent())
	return out
}

func machineOf(f *fields, field string, m *pb.Machine, currency string) app.Machine {
	out := app.Machine{
		ID: m.GetMachineId(), Title: m.GetTitle(), Capacity: f.mass(field+"capacity_kg", m.GetCapacityKg()),
		KgPerHour:       f.float(field+"throughput_kg_per_h", m.GetThroughputKgPerH()),
		MinutesPerBatch: int(m.GetMinutesPerBatch()), SetupMinutes: int(m.GetSetupMinutes()), WashUpMinutes: int(m.GetWashUpMinutes()),
		RatePerHour: f.price(field+"rate_per_hour", m.GetRatePerHour(), currency), LossPercent: f.decimal(field+"loss_percent", m.GetLossPercent()),
		LossPerCharge: f.mass(field+"loss_per_charge_kg", m.GetLossPerChargeKg()), ShortWashUp: int(m.GetShortWashUpMinutes()),
		LabourPerHour: f.price(field+"labour_rate_per_hour", m.GetLabourRatePerHour(), currency), Crew: f.decimal(field+"crew", m.GetCrew()),
	}
	for _, step := range m.GetSteps() {
		out.Steps = append(out.Steps, word(step))
	}
	return out
}

// minutes from midnight of a time that the rules have checked.
func minutes(hhmm string) int {
	if len(hhmm) != 5 {
		return 0
	}
	h, _ := strconv.Atoi(hhmm[:2])
	m, _ := strconv.Atoi(hhmm[3:])
	return 60*h + m
}

func timeOfDay(minute int) string { return fmt.Sprintf("%02d:%02d", minute/60, minute%60) }

func plantOut(ctx context.Context, r app.Record[app.Plant]) *pb.Plant {
	p := r.Value
	money := app.CallerOf(ctx).Role.SeesCost()
	out := &pb.Plant{
		Title: p.Title, CurrencyCode: p.Currency, TimeZone: p.TimeZone, WaterDensityKgPerL: p.WaterDensityKgPerL,
		ScaleDivisionKg: kg(p.ScaleDivision), QualityReleaseDays: int32(p.QualityReleaseDays), Etag: etagOut(r.Version),
		OverDeliveryPercent: decimalOut(p.OverDeliveryPercent), UnderDeliveryPercent: decimalOut(p.UnderDeliveryPercent),
	}
	if money {
		out.OverheadPercent, out.MarginPercent = decimalOut(p.OverheadPercent), decimalOut(p.MarginPercent)
		out.LaboratoryCharge = amountOut(p.Currency, p.LaboratoryCharge)
	}
	for _, s := range p.Shifts {
		out.Shifts = append(out.Shifts, &pb.Shift{IsoWeekday: int32((s.Weekday+6)%7) + 1, FromTime: timeOfDay(s.FromMinute), ToTime: timeOfDay(s.ToMinute)})
	}
	for _, d := range p.Holidays {
		out.HolidayDates = append(out.HolidayDates, dateOut(d))
	}
	for _, m := range p.Machines {
		out.Machines = append(out.Machines, machineOut(m, p.Currency, money))
	}
	for _, x := range p.Rates {
		out.ExchangeRates = append(out.ExchangeRates, &pb.ExchangeRate{CurrencyCode: x.Currency, Rate: decimalOut(x.Rate), RateDate: dateOut(x.Date)})
	}
	for _, k := range p.Packs {
		pack := &pb.Pack{PackId: k.ID, Title: k.Title, HoldsKg: kg(k.Holds)}
		if money {
			pack.Cost = amountOut(p.Currency, k.Cost)
		}
		out.Packs = append(out.Packs, pack)
	}
	out.Scales = each(p.Scales, scaleOut)
	return out
}

func machineOut(m app.Machine, currency string, money bool) *pb.Machine {
	throughput, _ := m.KgPerHour.Float64()
	out := &pb.Machine{
		MachineId: m.ID, Title: m.Title, CapacityKg: kg(m.Capacity), ThroughputKgPerH: throughput,
		MinutesPerBatch: int32(m.MinutesPerBatch), SetupMinutes: int32(m.SetupMinutes), WashUpMinutes: int32(m.WashUpMinutes),
		LossPerChargeKg: kg(m.LossPerCharge), ShortWashUpMinutes: int32(m.ShortWashUp),
	}
	if m.LossPercent.Sign() > 0 {
		out.LossPercent = decimalOut(m.LossPercent)
	}
	if m.Crew.Sign() > 0 {
		out.Crew = decimalOut(m.Crew)
	}
	for _, step := range m.Steps {
		out.Steps = append(out.Steps, enum[pb.ProcessStep](step))
	}
	if money {
		out.RatePerHour = amountOut(currency, m.RatePerHour)
		if m.LabourPerHour.Sign() > 0 {
			out.LabourRatePerHour = amountOut(currency, m.LabourPerHour)
		}
	}
	return out
}
