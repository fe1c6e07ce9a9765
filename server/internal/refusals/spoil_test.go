package refusals

import (
	"math"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// spoiler makes one field of a request bad.
type spoiler struct {
	path  string
	field string // what the refusal names: the path, or the oneof around it
	how   string
	codes []codes.Code // one of them must come; empty: anything but a failure of the server's own
	apply func(m protoreflect.Message, fd protoreflect.FieldDescriptor)
}

var (
	invalid = []codes.Code{codes.InvalidArgument}
	unknown = []codes.Code{codes.NotFound, codes.InvalidArgument}
	stale   = []codes.Code{codes.Aborted}
)

// walk visits every field that a client may set, in the message and the messages
// in it that are there. path reads "lot.cost.duty_percent".
func walk(m protoreflect.Message, path string, visit func(m protoreflect.Message, fd protoreflect.FieldDescriptor, path string)) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if outputOnly(fd) || fd.ContainingOneof() != nil && !fd.HasOptionalKeyword() && !m.Has(fd) {
			continue
		}
		at := strings.TrimPrefix(path+"."+string(fd.Name()), ".")
		visit(m, fd, at)
		if fd.Message() == nil || fd.IsMap() || !m.Has(fd) || leaf(fd.Message()) {
			continue
		}
		if fd.IsList() {
			walk(m.Get(fd).List().Get(0).Message(), at+"[0]", visit)
		} else {
			walk(m.Get(fd).Message(), at, visit)
		}
	}
}

// leaf messages are spoiled whole.
func leaf(d protoreflect.MessageDescriptor) bool {
	return strings.HasPrefix(string(d.FullName()), "google.")
}

func outputOnly(fd protoreflect.FieldDescriptor) bool {
	behaviour, _ := proto.GetExtension(fd.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(behaviour, annotations.FieldBehavior_OUTPUT_ONLY)
}

// spoilers lists everything that can be wrong with the fields of a request.
func spoilers(method string, request proto.Message) []spoiler {
	var out []spoiler
	walk(request.ProtoReflect(), "", func(m protoreflect.Message, fd protoreflect.FieldDescriptor, path string) {
		add := func(how string, want []codes.Code, v any) {
			out = append(out, spoiler{path, path, how, want, func(m protoreflect.Message, fd protoreflect.FieldDescriptor) { set(m, fd, v) }})
		}
		switch {
		case fd.IsMap():
			add("NaN", invalid, math.NaN())
		case fd.Kind() == protoreflect.DoubleKind:
			numbers(fd, add)
		case fd.Kind() == protoreflect.Int32Kind:
			add("-1", invalid, int32(-1))
		case fd.Kind() == protoreflect.EnumKind:
			add("9999", invalid, protoreflect.EnumNumber(9999))
		case fd.Kind() == protoreflect.StringKind:
			texts(method, m, fd, path, add)
		case fd.Message() != nil && fd.Message().FullName() == "google.type.Money":
			amounts(&out, method, path)
		case fd.Message() != nil && m.Has(fd):
			field := path
			if one := fd.ContainingOneof(); one != nil {
				field = strings.TrimSuffix(path, string(fd.Name())) + string(one.Name())
			}
			out = append(out, spoiler{path, field, "missing", nil, protoreflect.Message.Clear})
		}
	})
	return out
}

func set(m protoreflect.Message, fd protoreflect.FieldDescriptor, v any) {
	value := protoreflect.ValueOf(v)
	switch {
	case fd.IsMap():
		m.Mutable(fd).Map().Set(protoreflect.ValueOfString("density_kg_per_l").MapKey(), value)
	case fd.IsList() && m.Get(fd).List().Len() > 0:
		m.Mutable(fd).List().Set(0, value)
	case fd.IsList():
		m.Mutable(fd).List().Append(value)
	default:
		m.Set(fd, value)
	}
}

func numbers(fd protoreflect.FieldDescriptor, add func(string, []codes.Code, any)) {
	add("NaN", invalid, math.NaN())
	add("infinite", invalid, math.Inf(1))
	add("infinite below", invalid, math.Inf(-1))
	if strings.HasSuffix(string(fd.Name()), "_kg") {
		add("negative", invalid, -1.0)
		add("finer than a milligram", invalid, 0.1234567)
		add("huge", invalid, 1e300)
		return
	}
	add("huge", nil, 1e300)
}

var reference = regexp.MustCompile(`^[a-z]+[a-zA-Z]*/`)

func texts(method string, m protoreflect.Message, fd protoreflect.FieldDescriptor, path string, add func(string, []codes.Code, any)) {
	name, value := string(fd.Name()), ""
	if fd.IsList() {
		if l := m.Get(fd).List(); l.Len() > 0 {
			value = l.Get(0).String()
		}
	} else {
		value = m.Get(fd).String()
	}
	ignored := (strings.Contains(method, "Create") || method == "RecordLotTest") && (name == "etag" || name == "name") || method == "ReceiveLot" && (name == "etag" || name == "name")
	switch {
	case ignored:
		return
	case name == "etag":
		add("stale", stale, "v999")
		add("not an etag", invalid, "x y")
	case strings.HasSuffix(name, "_date") || strings.HasSuffix(name, "_dates"):
		add("no such day", invalid, "2026-02-30")
		add("no date", invalid, "tomorrow")
	case name == "filter":
		add("no such field", invalid, `nonsense = "x"`)
		add("no filter", invalid, `= = (`)
	case name == "page_token":
		add("made up", invalid, "garbage")
	case strings.HasSuffix(name, "_id") && name != "candidate_id" || name == "location":
		add("malformed", invalid, "Bad ID!")
		add("empty", nil, "")
	case reference.MatchString(value):
		add("malformed", invalid, "No such/Thing!")
		add("unknown", unknown, elsewhere(value))
	case strings.HasSuffix(name, "currency_code"):
		add("no currency", invalid, "euro")
	}
	add("far too long", invalid, strings.Repeat("x", 100_000))
}

// elsewhere names a thing of the same kind that does not exist.
func elsewhere(name string) string {
	at := strings.LastIndex(name, "/") + 1
	switch {
	case strings.HasPrefix(name, "movements/"), strings.HasPrefix(name, "reservations/"):
		return name[:at] + "00000000-0000-4000-8000-000000000000"
	case strings.HasPrefix(name, "properties/"):
		return "properties/no_such_units"
	case strings.Contains(name, "@"):
		return name[:at] + "none-such@1"
	}
	return name[:at] + "none-such"
}

// amounts spoils an amount; what is absent is put there first.
func amounts(out *[]spoiler, method, path string) {
	for _, c := range []struct {
		how          string
		currency     string
		units, nanos int64
	}{{"no currency", "", 1, 0}, {"no such currency", "euro", 1, 0}, {"nanos out of range", "EUR", 1, 1_500_000_000}, {"signs that differ", "EUR", 1, -5}, {"negative", "EUR", -3, 0}} {
		want := invalid
		switch {
		case (strings.HasPrefix(method, "Update") || method == "ReviseQuote") && c.currency == "":
			want = nil // what is not set stays as it is: the amount keeps its currency
		case strings.HasSuffix(path, "premium_per_kg"):
			if c.currency == "" {
				want = nil // that of the answer
			}
		case (method == "Optimise" || method == "MatchShade" || method == "CorrectShade" || method == "CorrectBatch" || method == "TraceFrontier") && c.units < 0:
			want = nil // a price below zero is what someone pays to be rid of it
		}
		*out = append(*out, spoiler{path, path, c.how, want, func(m protoreflect.Message, fd protoreflect.FieldDescriptor) {
			amount := m.Mutable(fd).Message()
			fields := amount.Descriptor().Fields()
			amount.Set(fields.ByName("currency_code"), protoreflect.ValueOfString(c.currency))
			amount.Set(fields.ByName("units"), protoreflect.ValueOfInt64(c.units))
			amount.Set(fields.ByName("nanos"), protoreflect.ValueOfInt32(int32(c.nanos)))
		}})
	}
}
