package gateway

import (
	"context"
	_ "embed"
	"errors"
	"net/http"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "millbase/proto/millbase/v1"
)

// DefaultMaxBody is the largest request body where the configuration names none:
// room for 5,000 movements.
const DefaultMaxBody = 8 << 20

//go:embed openapi.json
var openAPI []byte

// OpenAPI is the OpenAPI 3 document.
func OpenAPI() []byte { return openAPI }

// Config is what the gateway stands on.
type Config struct {
	// Unary is the chain that every call passes; it must authenticate.
	Unary grpc.UnaryServerInterceptor
	// Identify refuses a request whose Authorization header carries no good
	// key, before its body is read. nil leaves that to Unary.
	Identify func(ctx context.Context, authorization []string) error
	// Register puts the services on the in-process channel.
	Register func(grpc.ServiceRegistrar)
	// Stats hears of every call; may be nil.
	Stats stats.Handler
	// Ready reports why the service can't work at the moment.
	Ready func(context.Context) error
	// Metrics serves /metrics; nil leaves it out.
	Metrics http.Handler
	// Pages serves every other path; nil leaves it out.
	Pages http.Handler
	// MaxBody in bytes; 0 is DefaultMaxBody.
	MaxBody int64
}

// New builds the handler of the REST address.
func New(cfg Config) (http.Handler, error) {
	if cfg.Unary == nil || cfg.Register == nil {
		return nil, errors.New("gateway: a chain of interceptors and the services are needed")
	}
	if cfg.MaxBody <= 0 {
		cfg.MaxBody = DefaultMaxBody
	}
	conn := newChannel(cfg.Unary, cfg.Stats)
	cfg.Register(conn)
	api, err := newAPI(conn)
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("/v1/", etags(guarded(cfg, api)))
	mux.HandleFunc("GET /openapi.json", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.Write(openAPI)
	})
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, r *http.Request) { plain(w, http.StatusOK, "ok") })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, r *http.Request) {
		if cfg.Ready != nil && cfg.Ready(r.Context()) != nil {
			plain(w, http.StatusServiceUnavailable, "the database does not answer")
			return
		}
		plain(w, http.StatusOK, "ready")
	})
	if cfg.Metrics != nil {
		mux.Handle("GET /metrics", cfg.Metrics)
	}
	if cfg.Pages != nil {
		mux.Handle("/", cfg.Pages)
	} else {
		mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
			onRouting(r.Context(), nil, nil, w, r, http.StatusNotFound)
		})
	}
	return mux, nil
}

func plain(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	w.Write([]byte(text + "\n"))
}

// newAPI translates REST calls into calls on conn.
func newAPI(conn *channel) (http.Handler, error) {
	mux := runtime.NewServeMux(
		// A google.api.HttpBody goes out as it is, of its own content type.
		runtime.WithMarshalerOption(runtime.MIMEWildcard, &runtime.HTTPBodyMarshaler{Marshaler: &runtime.JSONPb{
			MarshalOptions:   protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true},
			UnmarshalOptions: protojson.UnmarshalOptions{DiscardUnknown: false},
		}}),
		runtime.WithErrorHandler(onError),
		runtime.WithRoutingErrorHandler(onRouting),
		runtime.WithIncomingHeaderMatcher(passedOn),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithForwardResponseOption(etagHeader),
		runtime.SetQueryParameterParser(&strictQuery{}),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
	)
	ctx := context.Background()
	err := errors.Join(
		pb.RegisterMaterialServiceHandlerClient(ctx, mux, pb.NewMaterialServiceClient(conn)),
		pb.RegisterSupplierServiceHandlerClient(ctx, mux, pb.NewSupplierServiceClient(conn)),
		pb.RegisterLotServiceHandlerClient(ctx, mux, pb.NewLotServiceClient(conn)),
		pb.RegisterLedgerServiceHandlerClient(ctx, mux, pb.NewLedgerServiceClient(conn)),
		pb.RegisterSpecificationServiceHandlerClient(ctx, mux, pb.NewSpecificationServiceClient(conn)),
		pb.RegisterOptimiserServiceHandlerClient(ctx, mux, pb.NewOptimiserServiceClient(conn)),
		pb.RegisterFormulaServiceHandlerClient(ctx, mux, pb.NewFormulaServiceClient(conn)),
		pb.RegisterRepricingServiceHandlerClient(ctx, mux, pb.NewRepricingServiceClient(conn)),
		pb.RegisterOperationServiceHandlerClient(ctx, mux, pb.NewOperationServiceClient(conn)),
		pb.RegisterBatchServiceHandlerClient(ctx, mux, pb.NewBatchServiceClient(conn)),
		pb.RegisterPlantServiceHandlerClient(ctx, mux, pb.NewPlantServiceClient(conn)),
		pb.RegisterPlanServiceHandlerClient(ctx, mux, pb.NewPlanServiceClient(conn)),
		pb.RegisterQuoteServiceHandlerClient(ctx, mux, pb.NewQuoteServiceClient(conn)),
		pb.RegisterPurchasingServiceHandlerClient(ctx, mux, pb.NewPurchasingServiceClient(conn)),
		pb.RegisterCorrectionServiceHandlerClient(ctx, mux, pb.NewCorrectionServiceClient(conn)),
		pb.RegisterShadeServiceHandlerClient(ctx, mux, pb.NewShadeServiceClient(conn)),
		pb.RegisterColourServiceHandlerClient(ctx, mux, pb.NewColourServiceClient(conn)),
		pb.RegisterLotTestServiceHandlerClient(ctx, mux, pb.NewLotTestServiceClient(conn)),
		pb.RegisterStudyServiceHandlerClient(ctx, mux, pb.NewStudyServiceClient(conn)),
		pb.RegisterLeadTimeServiceHandlerClient(ctx, mux, pb.NewLeadTimeServiceClient(conn)),
	)
	return mux, err
}

// passedOn names the headers that reach the call; Authorization always does, and
// so do grpc-timeout and the caller's address.
func passedOn(header string) (string, bool) {
	switch header {
	case "If-Match", "Traceparent", "Tracestate":
		return strings.ToLower(header), true
	}
	return "", false
}

// guarded refuses strangers before anything of the request is read, and bodies
// that are too large.
func guarded(cfg Config, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if cfg.Identify != nil {
			if err := cfg.Identify(r.Context(), r.Header.Values("Authorization")); err != nil {
				writeStatus(w, err)
				return
			}
		}
		if r.ContentLength > cfg.MaxBody {
			p := problemOf(status.New(codes.InvalidArgument, "The request body is too large; send less at once."))
			p.Status, p.Title = http.StatusRequestEntityTooLarge, http.StatusText(http.StatusRequestEntityTooLarge)
			p.write(w)
			return
		}
		if r.Body != nil && r.Body != http.NoBody {
			r.Body = http.MaxBytesReader(w, r.Body, cfg.MaxBody)
		}
		next.ServeHTTP(w, r)
	})
}
