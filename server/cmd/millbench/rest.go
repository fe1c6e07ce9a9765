package main

import (
	"context"
	"fmt"
	"io"
	"net/http"

	pb "millbase/proto/millbase/v1"
)

// measureREST reads the same lot by REST and by gRPC, 8 clients each; the figure
// is time per call.
func measureREST(ctx context.Context, s settings) ([]bar, error) {
	r, err := newRig(ctx, s)
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.close() }()
	if err := r.fill(ctx, 10); err != nil {
		return nil, err
	}
	web := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 8}}
	url := "http://" + r.http + "/v1/lots/" + lotOf(0)
	const n = 8
	ratio, a, b, err := turns(s.rounds,
		func() (float64, error) {
			calls, err := perSecond(n, s.duration, func() error { return r.get(ctx, web, url) })
			return n / calls, err
		},
		func() (float64, error) {
			calls, err := perSecond(n, s.duration, func() error {
				_, err := pb.NewLotServiceClient(r.conn).GetLot(ctx, &pb.GetLotRequest{Name: "lots/" + lotOf(0)})
				return err
			})
			return n / calls, err
		})
	fmt.Printf("reading a lot, 8 clients: %.0f us by REST, %.0f us by gRPC\n", 1e6*a, 1e6*b)
	return []bar{{name: "rest_over_grpc", value: ratio, goal: 1.6}}, err
}

func (r *rig) get(ctx context.Context, web *http.Client, url string) error {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return err
	}
	request.Header.Set("Authorization", "Bearer "+r.key)
	answer, err := web.Do(request)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		return err
	}
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", url, answer.Status)
	}
	return nil
}
