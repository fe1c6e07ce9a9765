package gateway

import (
	"fmt"
	"net/url"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// strictQuery refuses parameters that the method does not have. The gateway's
// own parser passes over them, so that a misspelt filter would list everything.
type strictQuery struct{ runtime.DefaultQueryParser }

// Parse implements runtime.QueryParameterParser.
func (q *strictQuery) Parse(msg proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	for name := range values {
		if !hasPath(msg.ProtoReflect().Descriptor(), name) {
			return fmt.Errorf("unknown field %q", name)
		}
	}
	return q.DefaultQueryParser.Parse(msg, values, filter)
}

func hasPath(d protoreflect.MessageDescriptor, path string) bool {
	path, _, _ = strings.Cut(path, "[") // the key of a map
	for _, part := range strings.Split(path, ".") {
		if d == nil {
			return false
		}
		field := d.Fields().ByName(protoreflect.Name(part))
		if field == nil {
			field = d.Fields().ByJSONName(part)
		}
		if field == nil {
			return false
		}
		d = field.Message()
	}
	return true
}
