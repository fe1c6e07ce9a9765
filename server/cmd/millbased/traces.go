package main

import (
	"context"
	"fmt"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/sdk/resource"
	"go.opentelemetry.io/otel/sdk/trace"
	semconv "go.opentelemetry.io/otel/semconv/v1.37.0"
	"google.golang.org/grpc/stats"
)

// newTraces sends a span of every call to a collector; nil without an endpoint.
// stop sends what is left.
func newTraces(ctx context.Context, endpoint string) (handler stats.Handler, stop func(), err error) {
	if endpoint == "" {
		return nil, func() {}, nil
	}
	exporter, err := otlptracegrpc.New(ctx, otlptracegrpc.WithEndpoint(endpoint), otlptracegrpc.WithInsecure())
	if err != nil {
		return nil, nil, fmt.Errorf("traces can't be sent to %s; check --otlp-endpoint: %w", endpoint, err)
	}
	provider := trace.NewTracerProvider(trace.WithBatcher(exporter),
		trace.WithResource(resource.NewSchemaless(semconv.ServiceName("millbased"), semconv.ServiceVersion(version))))
	stop = func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = provider.Shutdown(ctx) // spans that can't be delivered are not worth a failed stop
	}
	return otelgrpc.NewServerHandler(otelgrpc.WithTracerProvider(provider), otelgrpc.WithPropagators(propagation.TraceContext{})), stop, nil
}
