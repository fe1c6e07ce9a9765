package main

import (
	"context"
	"net"
	"testing"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"google.golang.org/grpc"
	"google.golang.org/grpc/stats"
)

// gathering is a collector that keeps the names of the spans.
type gathering struct {
	collector.UnimplementedTraceServiceServer
	names chan string
}

func (g *gathering) Export(_ context.Context, req *collector.ExportTraceServiceRequest) (*collector.ExportTraceServiceResponse, error) {
	for _, r := range req.GetResourceSpans() {
		for _, s := range r.GetScopeSpans() {
			for _, span := range s.GetSpans() {
				g.names <- span.GetName()
			}
		}
	}
	return &collector.ExportTraceServiceResponse{}, nil
}

func TestTracesReachTheCollector(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server, g := grpc.NewServer(), &gathering{names: make(chan string, 10)}
	collector.RegisterTraceServiceServer(server, g)
	go func() { _ = server.Serve(listener) }()
	defer server.Stop()
	handler, stop, err := newTraces(t.Context(), listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	ctx := handler.TagRPC(t.Context(), &stats.RPCTagInfo{FullMethodName: "/millbase.v1.LotService/GetLot"})
	handler.HandleRPC(ctx, &stats.Begin{})
	handler.HandleRPC(ctx, &stats.End{})
	stop()
	if name := <-g.names; name != "millbase.v1.LotService/GetLot" {
		t.Errorf("the span is named %q", name)
	}
	if handler, stop, err := newTraces(t.Context(), ""); handler != nil || err != nil {
		t.Errorf("without an endpoint: %v %v", handler, err)
	} else {
		stop()
	}
}
