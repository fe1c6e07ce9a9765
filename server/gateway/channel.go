package gateway

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// channel is a client connection whose calls are function calls: the handler of
// the method runs in the caller's goroutine, behind the chain of interceptors.
// Nothing is encoded; messages are handed over field by field, not copied deep,
// which is safe because neither side keeps or changes them afterwards.
//
// A kept library (github.com/fullstorydev/grpchan/inprocgrpc 1.1.2) does the same
// with a goroutine and deep copies per call: 8.8 us where this takes 3.1 us
// (BenchmarkChannel, the same lot, 2 shared cores).
type channel struct {
	unary   grpc.UnaryServerInterceptor
	stats   stats.Handler // may be nil
	methods map[string]method
}

type method struct {
	service any
	handler grpc.MethodHandler
}

var (
	_ grpc.ClientConnInterface = (*channel)(nil)
	_ grpc.ServiceRegistrar    = (*channel)(nil)
)

func newChannel(unary grpc.UnaryServerInterceptor, stats stats.Handler) *channel {
	return &channel{unary: unary, stats: stats, methods: map[string]method{}}
}

// RegisterService implements grpc.ServiceRegistrar.
func (c *channel) RegisterService(desc *grpc.ServiceDesc, service any) {
	for _, m := range desc.Methods {
		c.methods["/"+desc.ServiceName+"/"+m.MethodName] = method{service, m.Handler}
	}
}

// NewStream implements grpc.ClientConnInterface. The API has no streams.
func (c *channel) NewStream(context.Context, *grpc.StreamDesc, string, ...grpc.CallOption) (grpc.ClientStream, error) {
	return nil, status.Error(codes.Unimplemented, "Streams are served over gRPC only.")
}

// Invoke implements grpc.ClientConnInterface.
func (c *channel) Invoke(ctx context.Context, name string, req, resp any, opts ...grpc.CallOption) error {
	m, ok := c.methods[name]
	if !ok {
		return status.Errorf(codes.Unimplemented, "This server does not serve %s.", name)
	}
	in, out := req.(proto.Message), resp.(proto.Message)
	md, _ := metadata.FromOutgoingContext(ctx)
	if err := matchEtag(in.ProtoReflect(), md.Get(ifMatch)); err != nil {
		return err
	}
	stream := &transport{method: name}
	ctx = peer.NewContext(metadata.NewIncomingContext(ctx, md), &inProcess)
	ctx = grpc.NewContextWithServerTransportStream(ctx, stream)
	decode := func(to any) error {
		hand(to.(proto.Message), in)
		return nil
	}
	answer, err := c.observed(ctx, name, func(ctx context.Context) (any, error) {
		return m.handler(m.service, ctx, decode, c.unary)
	})
	stream.give(opts)
	if err != nil {
		return err
	}
	hand(out, answer.(proto.Message))
	return nil
}

// observed tells the stats handler of the call.
func (c *channel) observed(ctx context.Context, name string, call func(context.Context) (any, error)) (any, error) {
	if c.stats == nil {
		return call(ctx)
	}
	begin := time.Now()
	ctx = c.stats.TagRPC(ctx, &stats.RPCTagInfo{FullMethodName: name})
	c.stats.HandleRPC(ctx, &stats.Begin{BeginTime: begin})
	answer, err := call(ctx)
	c.stats.HandleRPC(ctx, &stats.End{BeginTime: begin, EndTime: time.Now(), Error: err})
	return answer, err
}

// hand moves the fields of from to the empty message to. Lists, maps and
// messages are shared.
func hand(to, from proto.Message) {
	dst := to.ProtoReflect()
	from.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		dst.Set(field, v)
		return true
	})
}

// transport collects the headers and trailers that a handler sets.
type transport struct {
	method          string
	header, trailer metadata.MD
}

func (t *transport) Method() string { return t.method }

func (t *transport) SetHeader(md metadata.MD) error {
	t.header = metadata.Join(t.header, md)
	return nil
}

func (t *transport) SendHeader(md metadata.MD) error { return t.SetHeader(md) }

func (t *transport) SetTrailer(md metadata.MD) error {
	t.trailer = metadata.Join(t.trailer, md)
	return nil
}

func (t *transport) give(opts []grpc.CallOption) {
	if t.header == nil && t.trailer == nil {
		return
	}
	for _, opt := range opts {
		switch o := opt.(type) {
		case grpc.HeaderCallOption:
			*o.HeaderAddr = t.header
		case grpc.TrailerCallOption:
			*o.TrailerAddr = t.trailer
		}
	}
}

type inProcessAddr struct{}

func (inProcessAddr) Network() string { return "in-process" }
func (inProcessAddr) String() string  { return "gateway" }

var inProcess = peer.Peer{Addr: inProcessAddr{}}

// ifMatch is the metadata key that carries the If-Match header.
const ifMatch = "if-match"

// matchEtag puts the etag of an If-Match header into the request: into its own
// field etag, or into that of the resource that it carries.
func matchEtag(req protoreflect.Message, header []string) error {
	if len(header) == 0 {
		return nil
	}
	etag := strings.TrimSpace(strings.Join(header, ","))
	if etag == "*" {
		return nil
	}
	if strings.Contains(etag, ",") {
		return status.Error(codes.InvalidArgument, "If-Match names several etags; name the one that you read.")
	}
	target := etagHolder(req)
	if target == nil {
		return status.Error(codes.InvalidArgument, "If-Match has no meaning for this request; leave it out.")
	}
	field := target.Descriptor().Fields().ByName("etag")
	if given := target.Get(field).String(); given != "" && version(given) != version(etag) {
		return status.Error(codes.InvalidArgument, "If-Match and the etag in the body differ; send one of them, or the same twice.")
	}
	target.Set(field, protoreflect.ValueOfString(version(etag)))
	return nil
}

func etagHolder(req protoreflect.Message) protoreflect.Message {
	fields := req.Descriptor().Fields()
	if fields.ByName("etag") != nil {
		return req
	}
	for i := range fields.Len() {
		field := fields.Get(i)
		if field.Message() == nil || field.IsList() || field.IsMap() || !req.Has(field) {
			continue
		}
		if field.Message().Fields().ByName("etag") != nil {
			return req.Mutable(field).Message()
		}
	}
	return nil
}

// version is an etag as the resource carries it, without quotes, weakness and
// the digest of the representation.
func version(etag string) string {
	etag = strings.Trim(strings.TrimPrefix(etag, "W/"), `"`)
	v, _, _ := strings.Cut(etag, ".")
	return v
}
