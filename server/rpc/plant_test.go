package rpc_test

import (
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

func TestPlant(t *testing.T) {
	s := stockroom{servertest.Start(t), t}
	now := good(s.plant(app.InkMaker).GetPlant(t.Context(), &pb.GetPlantRequest{}))(t)
	p := worksPlant()
	p.Etag = now.GetEtag()
	p.HolidayDates = []string{"2026-12-25"}
	put := good(s.plant(app.Admin).UpdatePlant(t.Context(), &pb.UpdatePlantRequest{Plant: p}))(t)
	read := good(s.plant(app.InkMaker).GetPlant(t.Context(), &pb.GetPlantRequest{}))(t)
	if !proto.Equal(put, read) || len(read.GetMachines()) != len(p.GetMachines()) || read.GetEtag() == now.GetEtag() {
		t.Errorf("put %v, read %v", put, read)
	}
	for i, shift := range read.GetShifts() {
		if !proto.Equal(shift, p.GetShifts()[i]) {
			t.Errorf("shift %d is %v, was %v", i, shift, p.GetShifts()[i])
		}
	}
	quality := good(s.plant(app.Quality).GetPlant(t.Context(), &pb.GetPlantRequest{}))(t)
	if quality.GetLaboratoryCharge() != nil || quality.GetMarginPercent() != "" || quality.GetMachines()[0].GetRatePerHour() != nil {
		t.Errorf("quality sees costs: %v", quality)
	}
	for name, c := range map[string]struct {
		change func(p *pb.Plant)
		want   refusal
	}{
		"a stale etag":       {func(p *pb.Plant) { p.Etag = now.GetEtag() }, refusal{codes.Aborted, ""}},
		"no such zone":       {func(p *pb.Plant) { p.TimeZone = "Mars/Base" }, refusal{codes.InvalidArgument, "time_zone"}},
		"the machine's zone": {func(p *pb.Plant) { p.TimeZone = "Local" }, refusal{codes.InvalidArgument, "time_zone"}},
		"no currency":        {func(p *pb.Plant) { p.CurrencyCode = "" }, refusal{codes.InvalidArgument, "currency_code"}},
		"heavy water":        {func(p *pb.Plant) { p.WaterDensityKgPerL = 1.9 }, refusal{codes.InvalidArgument, "density of water"}},
		"all margin":         {func(p *pb.Plant) { p.MarginPercent = "100" }, refusal{codes.InvalidArgument, "margin_percent"}},
		"a shift backwards":  {func(p *pb.Plant) { p.Shifts = []*pb.Shift{{IsoWeekday: 1, FromTime: "14:00", ToTime: "06:00"}} }, refusal{codes.InvalidArgument, "night shift"}},
		"an eighth weekday":  {func(p *pb.Plant) { p.Shifts = []*pb.Shift{{IsoWeekday: 8, FromTime: "06:00", ToTime: "14:00"}} }, refusal{codes.InvalidArgument, "iso_weekday"}},
		"25 o'clock":         {func(p *pb.Plant) { p.Shifts = []*pb.Shift{{IsoWeekday: 1, FromTime: "06:00", ToTime: "25:00"}} }, refusal{codes.InvalidArgument, "time of day"}},
		"30 February":        {func(p *pb.Plant) { p.HolidayDates = []string{"2026-02-30"} }, refusal{codes.InvalidArgument, "holiday_dates[0]"}},
		"a machine twice":    {func(p *pb.Plant) { p.Machines = append(p.Machines, p.Machines[0]) }, refusal{codes.InvalidArgument, "two machines"}},
		"a machine at rest":  {func(p *pb.Plant) { p.Machines[0].ThroughputKgPerH, p.Machines[0].MinutesPerBatch = 0, 0 }, refusal{codes.InvalidArgument, "throughput"}},
		"a rate to itself": {func(p *pb.Plant) {
			p.ExchangeRates = []*pb.ExchangeRate{{CurrencyCode: p.CurrencyCode, Rate: "1", RateDate: "2026-01-01"}}
		}, refusal{codes.InvalidArgument, "own currency"}},
		"a rate of zero": {func(p *pb.Plant) {
			p.ExchangeRates = []*pb.ExchangeRate{{CurrencyCode: "USD", Rate: "0", RateDate: "2026-01-01"}}
		}, refusal{codes.InvalidArgument, "rate"}},
		"a pack of nothing": {func(p *pb.Plant) { p.Packs = []*pb.Pack{{PackId: "tin"}} }, refusal{codes.InvalidArgument, "holds_kg"}},
	} {
		bad := proto.Clone(put).(*pb.Plant)
		c.change(bad)
		_, err := s.plant(app.Admin).UpdatePlant(t.Context(), &pb.UpdatePlantRequest{Plant: bad})
		c.want.check(t, name, err)
	}
	_, err := s.plant(app.InkMaker).UpdatePlant(t.Context(), &pb.UpdatePlantRequest{Plant: p})
	refusal{codes.PermissionDenied, "use a key of one of: admin"}.check(t, "an ink maker", err)
	if last := good(s.plant(app.InkMaker).GetPlant(t.Context(), &pb.GetPlantRequest{}))(t); !proto.Equal(put, last) {
		t.Errorf("after the refusals: %v", last)
	}
}

func TestKeys(t *testing.T) {
	s := stockroom{servertest.Start(t), t}
	made := good(s.plant(app.Admin).CreateKey(t.Context(), &pb.CreateKeyRequest{KeyId: "front-desk", Key: &pb.Key{Title: "Front desk", Role: pb.Role_ROLE_ORDER_DESK}}))(t)
	if !strings.HasPrefix(made.GetSecret(), app.KeyPrefix) || len(made.GetSecret()) < 43 {
		t.Errorf("the secret has %d characters", len(made.GetSecret()))
	}
	with := metadata.AppendToOutgoingContext(t.Context(), "authorization", "bearer "+made.GetSecret())
	who := good(s.plant("").WhoAmI(with, &pb.WhoAmIRequest{}))(t)
	if who.GetKey() != "keys/front-desk" || who.GetRole() != pb.Role_ROLE_ORDER_DESK {
		t.Errorf("the key is %v", who)
	}
	list := good(s.plant(app.Admin).ListKeys(t.Context(), &pb.ListKeysRequest{}))(t)
	if len(list.GetKeys()) != 7 || strings.Contains(list.String(), made.GetSecret()) {
		t.Errorf("the keys are %v", list)
	}
	for range 2 {
		if k := good(s.plant(app.Admin).RevokeKey(t.Context(), &pb.RevokeKeyRequest{Name: "keys/front-desk"}))(t); !k.GetRevoked() {
			t.Errorf("revoked: %v", k)
		}
	}
	_, err := s.plant("").WhoAmI(with, &pb.WhoAmIRequest{})
	refusal{codes.Unauthenticated, "revoked"}.check(t, "a revoked key", err)
	for name, auth := range map[string]string{"no scheme": made.GetSecret(), "another scheme": "Basic abc", "empty": "Bearer ", "unknown": "Bearer mb_x"} {
		_, err := s.plant("").WhoAmI(metadata.AppendToOutgoingContext(t.Context(), "authorization", auth), &pb.WhoAmIRequest{})
		refusal{codes.Unauthenticated, ""}.check(t, name, err)
	}
	_, err = s.plant("").WhoAmI(t.Context(), &pb.WhoAmIRequest{})
	refusal{codes.Unauthenticated, "Bearer <key>"}.check(t, "no key", err)
	for name, c := range map[string]struct {
		req  *pb.CreateKeyRequest
		want refusal
	}{
		"taken":      {&pb.CreateKeyRequest{KeyId: "admin", Key: &pb.Key{Title: "x", Role: 1}}, refusal{codes.AlreadyExists, "exists already"}},
		"no role":    {&pb.CreateKeyRequest{KeyId: "x", Key: &pb.Key{Title: "x"}}, refusal{codes.InvalidArgument, "key.role"}},
		"no title":   {&pb.CreateKeyRequest{KeyId: "x", Key: &pb.Key{Role: 1}}, refusal{codes.InvalidArgument, "key.title"}},
		"a bad id":   {&pb.CreateKeyRequest{KeyId: "X x", Key: &pb.Key{Title: "x", Role: 1}}, refusal{codes.InvalidArgument, "key_id"}},
		"no details": {&pb.CreateKeyRequest{KeyId: "x"}, refusal{codes.InvalidArgument, "key: must be given"}},
	} {
		_, err := s.plant(app.Admin).CreateKey(t.Context(), c.req)
		c.want.check(t, name, err)
	}
	_, err = s.plant(app.Admin).RevokeKey(t.Context(), &pb.RevokeKeyRequest{Name: "keys/admin"})
	refusal{codes.FailedPrecondition, "last key"}.check(t, "the last administrator", err)
	_, err = s.plant(app.Admin).RevokeKey(t.Context(), &pb.RevokeKeyRequest{Name: "keys/none"})
	refusal{codes.NotFound, "none"}.check(t, "an unknown key", err)
	_, err = s.plant(app.Quality).ListKeys(t.Context(), &pb.ListKeysRequest{})
	refusal{codes.PermissionDenied, "role quality"}.check(t, "quality", err)
}
