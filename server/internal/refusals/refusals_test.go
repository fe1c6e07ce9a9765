package refusals

import (
	"context"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/postgres/pgtest"
)

func TestMain(m *testing.M) { pgtest.Main(m) }

// methods walks every method of the API.
func methods(visit func(protoreflect.MethodDescriptor)) {
	protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				visit(service.Methods().Get(j))
			}
		}
		return true
	})
}

// bench is the book with what the checks need.
type bench struct {
	*book
	good map[string]func() proto.Message
	db   *pgx.Conn
}

func newBench(t *testing.T) *bench {
	t.Helper()
	b := newBook(t)
	good := b.good()
	maps.Copy(good, b.goodMakings())
	maps.Copy(good, b.goodPurchasing())
	maps.Copy(good, b.goodQuestions())
	maps.Copy(good, b.goodRepricing())
	maps.Copy(good, b.goodQuotes())
	maps.Copy(good, b.goodColours())
	maps.Copy(good, b.goodPlans())
	db, err := pgx.Connect(t.Context(), b.server.Store.Pool().Config().ConnString())
	must(t, 0, err)
	t.Cleanup(func() { db.Close(context.Background()) })
	return &bench{b, good, db}
}

func (b *bench) call(role app.Role, method protoreflect.MethodDescriptor, request proto.Message) error {
	answer, err := protoregistry.GlobalTypes.FindMessageByName(method.Output().FullName())
	if err != nil {
		return err
	}
	path := fmt.Sprintf("/%s/%s", method.Parent().FullName(), method.Name())
	return b.server.As(role).Invoke(b.t.Context(), path, request, answer.New().Interface())
}

// digest is a fingerprint of every row of every table.
func (b *bench) digest(t *testing.T) string {
	t.Helper()
	rows, err := b.db.Query(t.Context(), `SELECT table_name::text FROM information_schema.tables WHERE table_schema = 'public' AND table_type = 'BASE TABLE' ORDER BY 1`)
	must(t, 0, err)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	must(t, 0, err)
	var parts []string
	for _, table := range tables {
		parts = append(parts, fmt.Sprintf(`(SELECT count(*) || ':' || coalesce(md5(string_agg(r::text, '|' ORDER BY r::text)), '') FROM %s r)`, pgx.Identifier{table}.Sanitize()))
	}
	var sum string
	must(t, 0, b.db.QueryRow(t.Context(), "SELECT "+strings.Join(parts, " || ' ' || ")).Scan(&sum))
	return sum
}

// innards are words that no caller should read.
var innards = regexp.MustCompile(`(?i)sqlstate|pgx|panic|runtime error|goroutine|rpc error|constraint "|%!|nil pointer|unexpected EOF`)

// proper checks that a refusal reads well and carries its details.
func proper(err error) string {
	s := status.Convert(err)
	if len(s.Message()) < 12 || !strings.Contains(s.Message(), " ") {
		return "is no sentence"
	}
	if innards.MatchString(s.Message()) {
		return "shows the server's innards"
	}
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *errdetails.BadRequest:
			if len(d.FieldViolations) > 0 && d.FieldViolations[0].Field != "" && d.FieldViolations[0].Description != "" {
				return ""
			}
		case *errdetails.ErrorInfo:
			if d.Reason != "" && s.Code() != codes.InvalidArgument {
				return ""
			}
		}
	}
	return "lacks its details"
}

// names reports whether the refusal is about the field, or about something in it.
func names(err error, path string) bool {
	for _, d := range status.Convert(err).Details() {
		if bad, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range bad.FieldViolations {
				if strings.HasPrefix(v.Field, strings.TrimSuffix(path, "[0]")) {
					return true
				}
			}
		}
	}
	return false
}

func TestEveryMethodTakesItsGoodRequest(t *testing.T) {
	b := newBench(t)
	methods(func(m protoreflect.MethodDescriptor) {
		make := b.good[string(m.Name())]
		if make == nil {
			t.Errorf("%s has no good request in this test: write one in good_test.go", m.FullName())
			return
		}
		if m.Name() == "RevokeKey" {
			return // it would revoke a key of the test; the service's own tests do
		}
		if err := b.call(app.Admin, m, make()); err != nil {
			t.Errorf("%s: %v", m.Name(), err)
		}
	})
}

func TestNoKeyAndWrongRole(t *testing.T) {
	b := newBench(t)
	methods(func(m protoreflect.MethodDescriptor) {
		request := b.good[string(m.Name())]()
		before := b.digest(t)
		if err := b.call("", m, request); status.Code(err) != codes.Unauthenticated || proper(err) != "" {
			t.Errorf("%s without a key: %v (%s)", m.Name(), err, proper(err))
		}
		access, _ := proto.GetExtension(m.Options(), pb.E_Access).(*pb.Access)
		for _, role := range app.Roles {
			named := pb.Role(pb.Role_value["ROLE_"+strings.ToUpper(string(role))])
			if role == app.Admin || slices.Contains(access.GetRoles(), named) {
				continue
			}
			if err := b.call(role, m, request); status.Code(err) != codes.PermissionDenied || proper(err) != "" {
				t.Errorf("%s as %s: %v (%s)", m.Name(), role, err, proper(err))
			}
		}
		if b.digest(t) != before {
			t.Errorf("%s: a refused call changed the database", m.Name())
		}
	})
}

func TestBadFields(t *testing.T) {
	b := newBench(t)
	count := 0
	methods(func(m protoreflect.MethodDescriptor) {
		name := string(m.Name())
		for _, s := range spoilers(name, b.good[name]()) {
			count++
			b.spoil(t, m, s)
		}
	})
	t.Logf("%d bad requests", count)
	if count < 800 {
		t.Errorf("only %d bad requests: the walk misses fields", count)
	}
}

// spoil sends one bad request and checks what comes of it.
func (b *bench) spoil(t *testing.T, m protoreflect.MethodDescriptor, s spoiler) {
	t.Helper()
	request := b.good[string(m.Name())]()
	walk(request.ProtoReflect(), "", func(at protoreflect.Message, fd protoreflect.FieldDescriptor, path string) {
		if path == s.path {
			s.apply(at, fd)
		}
	})
	before := b.digest(t)
	err := b.call(app.Admin, m, request)
	code := status.Code(err)
	what := fmt.Sprintf("%s, %s %s", m.Name(), s.path, s.how)
	switch {
	case len(s.codes) > 0 && !slices.Contains(s.codes, code):
		t.Errorf("%s: got %v, want one of %v: %v", what, code, s.codes, err)
	case code == codes.Internal || code == codes.Unknown || code == codes.Unavailable:
		t.Errorf("%s: %v", what, err)
	case err == nil:
		return
	}
	// An offer of another supplier than the order's: either may be the wrong one.
	either := s.path == "purchase_order.supplier" && names(err, "purchase_order.lines")
	// What names candidates that the request no longer has.
	either = either || s.path == "candidates" && (names(err, "pot[0].candidate") || names(err, "print.colourants[0].candidate") || names(err, "weighing.whole_containers[0].members.candidates[0]"))
	if code == codes.InvalidArgument && !names(err, s.field) && !either {
		t.Errorf("%s: the refusal is about another field: %v", what, status.Convert(err).Proto())
	}
	if flaw := proper(err); err != nil && flaw != "" {
		t.Errorf("%s: the refusal %s: %v", what, flaw, status.Convert(err).Proto())
	}
	if err != nil && b.digest(t) != before {
		t.Errorf("%s: a refused call changed the database", what)
	}
}

// TestSameIDOtherContent sends every request that carries an id of the client's
// twice, the second time with other content.
func TestSameIDOtherContent(t *testing.T) {
	b := newBench(t)
	seen := 0
	methods(func(m protoreflect.MethodDescriptor) {
		first := b.good[string(m.Name())]()
		again := proto.Clone(first)
		if !hasClientID(m.Input()) || !alter(again.ProtoReflect()) {
			return
		}
		seen++
		if err := b.call(app.Admin, m, first); err != nil {
			t.Errorf("%s: %v", m.Name(), err)
			return
		}
		before := b.digest(t)
		err := b.call(app.Admin, m, again)
		if status.Code(err) != codes.AlreadyExists || proper(err) != "" {
			t.Errorf("%s: the same id with other content: %v (%s)", m.Name(), err, proper(err))
		}
		if b.digest(t) != before {
			t.Errorf("%s: the same id with other content changed the database", m.Name())
		}
	})
	if seen < 12 {
		t.Errorf("only %d methods were found to carry an id of the client's", seen)
	}
}

func hasClientID(d protoreflect.MessageDescriptor) bool {
	for _, name := range []protoreflect.Name{"request_id", "movement_id", "reservation_id"} {
		if d.Fields().ByName(name) != nil {
			return true
		}
	}
	return false
}

// alter changes the content of a request a little: a mass, or else a text.
func alter(m protoreflect.Message) bool {
	done := false
	walk(m, "", func(m protoreflect.Message, fd protoreflect.FieldDescriptor, _ string) {
		if !done && fd.Kind() == protoreflect.DoubleKind && !fd.IsList() && !fd.IsMap() && m.Has(fd) && strings.HasSuffix(string(fd.Name()), "_kg") {
			m.Set(fd, protoreflect.ValueOfFloat64(m.Get(fd).Float()/2))
			done = true
		}
	})
	walk(m, "", func(m protoreflect.Message, fd protoreflect.FieldDescriptor, _ string) {
		if !done && (fd.Name() == "title" || fd.Name() == "note" || fd.Name() == "customer") {
			m.Set(fd, protoreflect.ValueOfString("something else"))
			done = true
		}
	})
	return done
}
