package gateway

import (
	"context"
	"encoding/json"
	"net/http"
	"regexp"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	codepb "google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Problem is an error as REST shows it (RFC 9457).
type Problem struct {
	Type     string `json:"type"`
	Title    string `json:"title"`
	Status   int    `json:"status"`
	Detail   string `json:"detail"`             // a sentence that says what to change
	Code     string `json:"code"`               // google.rpc.Code: "INVALID_ARGUMENT"
	Reason   string `json:"reason,omitempty"`   // "NEGATIVE_BALANCE"
	Resource string `json:"resource,omitempty"` // "lots/l-1"
	// FieldViolations say what is wrong with each field of the request.
	FieldViolations []Violation `json:"field_violations,omitempty"`
}

// Violation is what is wrong with one field.
type Violation struct {
	Field       string `json:"field"`
	Description string `json:"description"`
}

// problemOf describes a status.
func problemOf(s *status.Status) Problem {
	p := Problem{Type: "about:blank", Detail: s.Message(), Code: codepb.Code(s.Code()).String()}
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			p.Reason, p.Resource = d.GetReason(), d.GetMetadata()["resource"]
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				p.FieldViolations = append(p.FieldViolations, Violation{v.GetField(), v.GetDescription()})
			}
		}
	}
	p.Status = httpStatus(s.Code(), p.Reason)
	p.Title = http.StatusText(p.Status)
	return p
}

// httpStatus differs from the gateway's own table in two places: what the book
// does not allow as things stand is a conflict rather than a bad request, and a
// stale etag is a failed precondition.
func httpStatus(code codes.Code, reason string) int {
	switch {
	case code == codes.FailedPrecondition:
		return http.StatusConflict
	case code == codes.Aborted && reason == "STALE_ETAG":
		return http.StatusPreconditionFailed
	case reason == "TOO_LARGE":
		return http.StatusRequestEntityTooLarge
	case code == codes.Canceled:
		return 499 // the client has gone; no code of the standard says so
	}
	return runtime.HTTPStatusFromCode(code)
}

func (p Problem) write(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "application/problem+json")
	if p.Status == http.StatusUnauthorized {
		w.Header().Set("WWW-Authenticate", `Bearer realm="millbase"`)
	}
	if p.Status == http.StatusServiceUnavailable {
		w.Header().Set("Retry-After", "1")
	}
	w.WriteHeader(p.Status)
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	_ = encoder.Encode(p) // a client that has gone away can't be told
}

// writeStatus writes any error as a problem.
func writeStatus(w http.ResponseWriter, err error) { problemOf(status.Convert(err)).write(w) }

func onError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	s := status.Convert(err)
	if s.Code() == codes.InvalidArgument && len(s.Details()) == 0 {
		s = unreadable(s.Message())
	}
	problemOf(s).write(w)
}

var (
	unknownField = regexp.MustCompile(`unknown field "([^"]+)"`)
	atPlace      = regexp.MustCompile(`^proto:\s*(syntax error )?(\(line (\d+):(\d+)\):)?\s*`)
	ofParameter  = regexp.MustCompile(`(?:type mismatch, parameter: |parsing field ")([^",]+)`)
	wrongValue   = regexp.MustCompile(`invalid value for (\w+) (?:field|type)(?: ([A-Za-z0-9_]+))?:? (.*)$`)
	oversized    = "http: request body too large"
)

// unreadable rewrites what the decoder says into a sentence for people.
func unreadable(message string) *status.Status {
	message = strings.ReplaceAll(message, "\u00a0", " ")
	reason, field, text := "UNREADABLE", "", ""
	switch {
	case strings.Contains(message, oversized):
		reason, text = "TOO_LARGE", "The request body is too large; send less at once."
	case unknownField.MatchString(message):
		field = unknownField.FindStringSubmatch(message)[1]
		text = "The request has no field \"" + field + "\"; check its spelling against /openapi.json, or leave it out."
	case ofParameter.MatchString(message):
		field = ofParameter.FindStringSubmatch(message)[1]
		text = "The parameter " + field + " can't be read; check its form against /openapi.json."
	case wrongValue.MatchString(message):
		m := wrongValue.FindStringSubmatch(message)
		field, text = snake(m[2]), wrongValueText(m[1], snake(m[2]), m[3])
	default:
		text = "The request can't be read: " + atPlace.ReplaceAllString(message, "") + "; check it against /openapi.json."
	}
	s := status.New(codes.InvalidArgument, text)
	info := &errdetails.ErrorInfo{Domain: "millbase.v1", Reason: reason}
	detailed, err := s.WithDetails(info)
	if field != "" {
		detailed, err = s.WithDetails(info, &errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Description: text}}})
	}
	if err != nil {
		return s
	}
	return detailed
}

// kinds are the types of a field in words.
var kinds = map[string]string{
	"double": "a number", "float": "a number", "int32": "a whole number", "int64": "a whole number", "uint32": "a whole number", "uint64": "a whole number",
	"bool": "true or false", "string": "a text in quotes", "enum": "one of its values in /openapi.json",
}

func wrongValueText(kind, field, value string) string {
	what, ok := kinds[kind]
	if !ok {
		what = "of the form in /openapi.json"
	}
	if len(value) > 80 {
		value = value[:80] + "..."
	}
	return "The field " + field + " must be " + what + "; it is " + value + "."
}

// snake is the name of the .proto file for a name in camel case.
func snake(camel string) string {
	var out strings.Builder
	for _, r := range camel {
		if r >= 'A' && r <= 'Z' {
			out.WriteByte('_')
			r += 'a' - 'A'
		}
		out.WriteRune(r)
	}
	return out.String()
}

// onRouting answers paths and methods that the API does not have.
func onRouting(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
	p := Problem{Type: "about:blank", Title: http.StatusText(code), Status: code}
	switch code {
	case http.StatusNotFound:
		p.Code, p.Detail = "NOT_FOUND", "There is nothing at this path; /openapi.json lists what there is."
	case http.StatusMethodNotAllowed:
		p.Code, p.Detail = "UNIMPLEMENTED", r.Method+" is not for this path; /openapi.json lists what is."
	default:
		p.Code, p.Detail = "INVALID_ARGUMENT", "The path can't be read; check how its parts are escaped."
	}
	p.write(w)
}
