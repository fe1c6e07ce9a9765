package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "millbase/proto/millbase/v1"
	"millbase/server/embeddedpg"
)

// rig is a server at work on a Postgres of its own.
type rig struct {
	pg         *embeddedpg.Server
	dir        string
	process    *exec.Cmd
	key        string
	grpc, http string
	conn       *grpc.ClientConn
}

// bearer sends the API key with every call.
type bearer string

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}
func (bearer) RequireTransportSecurity() bool { return false }

// newRig starts Postgres, as durable as at a plant, and the server on it.
func newRig(ctx context.Context, s settings) (*rig, error) {
	dir, err := os.MkdirTemp("", "millbench-")
	if err != nil {
		return nil, err
	}
	r := &rig{dir: dir}
	if err := os.Chmod(dir, 0o755); err != nil {
		return nil, errors.Join(err, r.close())
	}
	if r.pg, err = embeddedpg.Start(ctx, embeddedpg.Config{DataDir: filepath.Join(dir, "pg"), MaxConnections: 200}); err != nil {
		return nil, errors.Join(err, r.close())
	}
	if err := r.serve(ctx, s); err != nil {
		return nil, errors.Join(err, r.close())
	}
	return r, nil
}

func (r *rig) serve(ctx context.Context, s settings) error {
	r.grpc, r.http = freeAddress(), freeAddress()
	data := filepath.Join(r.dir, "data")
	log, err := os.Create(filepath.Join(r.dir, "millbased.log"))
	if err != nil {
		return err
	}
	defer log.Close()
	r.process = exec.Command(s.server, "--data", data, "--database-url", r.pg.URL(), "--grpc", r.grpc, "--http", r.http, "--log-level", "warn")
	r.process.Stdout, r.process.Stderr = log, log
	if err := r.process.Start(); err != nil {
		return fmt.Errorf("%w (build the server first: make build)", err)
	}
	for range 300 {
		answer, err := http.Get("http://" + r.http + "/readyz")
		if err == nil {
			answer.Body.Close()
			if answer.StatusCode == http.StatusOK {
				return r.connect(data)
			}
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
	}
	text, _ := os.ReadFile(log.Name())
	return fmt.Errorf("the server did not get ready:\n%s", text)
}

// connect opens one connection for all clients: HTTP/2 carries their calls side by
// side, and more connections measured no better.
func (r *rig) connect(data string) error {
	key, err := os.ReadFile(filepath.Join(data, "admin.key"))
	if err != nil {
		return err
	}
	r.key = strings.TrimSpace(string(key))
	r.conn, err = grpc.NewClient(r.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithPerRPCCredentials(bearer(r.key)))
	return err
}

func (r *rig) close() error {
	var err error
	if r.conn != nil {
		err = r.conn.Close()
	}
	if r.process != nil && r.process.Process != nil {
		_ = r.process.Process.Signal(syscall.SIGTERM)
		_ = r.process.Wait()
	}
	if r.pg != nil {
		err = errors.Join(err, r.pg.Stop(context.Background()))
	}
	return errors.Join(err, os.RemoveAll(r.dir))
}

func freeAddress() string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		panic(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// lotOf names lot i of the bench.
func lotOf(i int) string { return fmt.Sprintf("bench-%04d", i) }

// fill receives n lots of a material, released, with plenty on hand.
func (r *rig) fill(ctx context.Context, n int) error {
	_, err := pb.NewPlantServiceClient(r.conn).UpdatePlant(ctx, &pb.UpdatePlantRequest{Plant: &pb.Plant{
		Title: "Bench", CurrencyCode: "EUR", TimeZone: "UTC", ScaleDivisionKg: 0.001}})
	if err != nil {
		return err
	}
	if _, err := pb.NewMaterialServiceClient(r.conn).CreateMaterial(ctx, &pb.CreateMaterialRequest{
		MaterialId: "linseed", Material: &pb.Material{Title: "Linseed oil", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_OIL}}); err != nil {
		return err
	}
	return clients(8, n, func(i int) error {
		lots := pb.NewLotServiceClient(r.conn)
		if _, err := lots.ReceiveLot(ctx, &pb.ReceiveLotRequest{
			LotId: lotOf(i), Lot: &pb.Lot{Material: "materials/linseed"}, QuantityKg: 500_000, Location: "store", MovementId: uuid.NewString(),
		}); err != nil {
			return err
		}
		_, err := lots.SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + lotOf(i), Status: pb.LotStatus_LOT_STATUS_RELEASED})
		return err
	})
}
