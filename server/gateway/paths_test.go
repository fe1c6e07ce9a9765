package gateway_test

import (
	"encoding/json"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/gateway"
	"millbase/server/servertest"
)

// binding is one method and path of the REST API, and who may use it.
type binding struct {
	method, path string
	name         string
	roles        []app.Role
}

// bindings reads them from the .proto files.
func bindings() []binding {
	var out []binding
	protoregistry.GlobalFiles.RangeFilesByPackage("millbase.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				out = append(out, bindingsOf(methods.Get(j))...)
			}
		}
		return true
	})
	return out
}

// bindingsOf are the method's path and the additional ones.
func bindingsOf(m protoreflect.MethodDescriptor) []binding {
	rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	out := []binding{bindingOf(m, rule)}
	for _, more := range rule.GetAdditionalBindings() {
		out = append(out, bindingOf(m, more))
	}
	return out
}

func bindingOf(m protoreflect.MethodDescriptor, rule *annotations.HttpRule) binding {
	b := binding{name: string(m.FullName())}
	switch {
	case rule.GetGet() != "":
		b.method, b.path = http.MethodGet, rule.GetGet()
	case rule.GetPost() != "":
		b.method, b.path = http.MethodPost, rule.GetPost()
	case rule.GetPatch() != "":
		b.method, b.path = http.MethodPatch, rule.GetPatch()
	case rule.GetPut() != "":
		b.method, b.path = http.MethodPut, rule.GetPut()
	case rule.GetDelete() != "":
		b.method, b.path = http.MethodDelete, rule.GetDelete()
	}
	access, _ := proto.GetExtension(m.Options(), pb.E_Access).(*pb.Access)
	for _, role := range access.GetRoles() {
		b.roles = append(b.roles, app.Role(strings.ToLower(strings.TrimPrefix(role.String(), "ROLE_"))))
	}
	return b
}

var variable = regexp.MustCompile(`\{[a-z_.]+=([^}]+)\}|\{[^}]+\}`)

// filled is the path with a name for each variable.
func (b binding) filled() string {
	return variable.ReplaceAllStringFunc(b.path, func(v string) string {
		if pattern := variable.FindStringSubmatch(v)[1]; pattern != "" {
			return strings.ReplaceAll(pattern, "*", "some-1")
		}
		return "some-1"
	})
}

func (b binding) body() any {
	if b.method == http.MethodGet {
		return nil
	}
	return "{}"
}

// Every path of the REST API is refused without a key and with a key of a role
// that may not call it, whatever the request holds.
func TestEveryPathNeedsAKeyAndARole(t *testing.T) {
	s := servertest.Start(t)
	all := bindings()
	if len(all) < 40 {
		t.Fatalf("only %d paths were found", len(all))
	}
	refused := 0
	for _, b := range all {
		if b.path == "" {
			t.Errorf("%s has no REST path", b.name)
			continue
		}
		for _, body := range []any{b.body(), "{ this is not JSON"} {
			if b.method == http.MethodGet {
				body = nil
			}
			got := s.REST("", b.method, b.filled(), body)
			if got.Status != http.StatusUnauthorized || got.Body["code"] != "UNAUTHENTICATED" || got.Header.Get("Content-Type") != "application/problem+json" {
				t.Errorf("%s %s without a key: %d %s", b.method, b.filled(), got.Status, got.Raw)
			}
		}
		if got := s.REST("", b.method, b.filled(), b.body(), "Authorization", "Bearer mb_nobody"); got.Status != http.StatusUnauthorized {
			t.Errorf("%s %s with an unknown key: %d", b.method, b.filled(), got.Status)
		}
		for _, role := range app.Roles {
			if role == app.Admin || slices.Contains(b.roles, role) {
				continue
			}
			refused++
			if got := s.REST(role, b.method, b.filled(), b.body()); got.Status != http.StatusForbidden || got.Body["reason"] != "ROLE_NOT_ALLOWED" {
				t.Errorf("%s %s as %s: %d %s", b.method, b.filled(), role, got.Status, got.Raw)
			}
		}
	}
	if refused < len(all) {
		t.Errorf("only %d refusals by role were tried for %d paths", refused, len(all))
	}
}

// The OpenAPI document has exactly the paths of the .proto files.
func TestOpenAPIHasEveryPath(t *testing.T) {
	var document struct {
		Paths map[string]map[string]json.RawMessage `json:"paths"`
	}
	if err := json.Unmarshal(gateway.OpenAPI(), &document); err != nil {
		t.Fatal(err)
	}
	shape := func(method, path string) string {
		return strings.ToUpper(method) + " " + regexp.MustCompile(`\{[^}]+\}`).ReplaceAllString(path, "some-1")
	}
	documented := map[string]bool{}
	for path, methods := range document.Paths {
		for method := range methods {
			if method != "parameters" {
				documented[shape(method, path)] = true
			}
		}
	}
	declared := map[string]bool{}
	for _, b := range bindings() {
		declared[b.method+" "+b.filled()] = true
	}
	if !maps.Equal(documented, declared) {
		for path := range documented {
			if !declared[path] {
				t.Errorf("%s is documented but does not exist", path)
			}
		}
		for path := range declared {
			if !documented[path] {
				t.Errorf("%s exists but is not documented", path)
			}
		}
	}
}
