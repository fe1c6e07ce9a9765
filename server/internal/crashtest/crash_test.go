package crashtest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
)

// The scale of the test, fitted to two cores.
const (
	crowd       = 64 // clients
	hotLots     = 10
	otherLots   = 1000
	kills       = 10
	startMg     = 12_000_000 // 12 kg of each hot lot: they run out, so refusals happen too
	plentyMg    = 500_000_000
	betweenKill = 900 * time.Millisecond
)

// op is one thing that a client wants done, whatever it takes.
type op struct {
	id      string
	lot     int
	mg      int64
	reserve bool
}

// tally is what was acknowledged.
type tally struct {
	mu       sync.Mutex
	done     []op
	refused  int
	attempts int
}

func lotID(i int) string {
	if i < hotLots {
		return fmt.Sprintf("hot-%d", i)
	}
	return fmt.Sprintf("lot-%d", i-hotLots)
}

func opening(i int) int64 {
	if i < hotLots {
		return startMg
	}
	return plentyMg
}

// stock receives and releases every lot.
func stock(ctx context.Context, t *testing.T, conn *grpc.ClientConn) {
	t.Helper()
	if _, err := pb.NewPlantServiceClient(conn).UpdatePlant(ctx, &pb.UpdatePlantRequest{Plant: &pb.Plant{
		Title: "Crash", CurrencyCode: "EUR", TimeZone: "UTC", ScaleDivisionKg: 0.001}}); err != nil {
		t.Fatal(err)
	}
	if _, err := pb.NewMaterialServiceClient(conn).CreateMaterial(ctx, &pb.CreateMaterialRequest{
		MaterialId: "linseed", Material: &pb.Material{Title: "Linseed oil", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_OIL}}); err != nil {
		t.Fatal(err)
	}
	lots := pb.NewLotServiceClient(conn)
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(8)
	for i := range hotLots + otherLots {
		group.Go(func() error {
			if _, err := lots.ReceiveLot(ctx, &pb.ReceiveLotRequest{LotId: lotID(i), Lot: &pb.Lot{Material: "materials/linseed"},
				QuantityKg: float64(opening(i)) / 1e6, Location: "store", MovementId: uuid.NewString()}); err != nil {
				return err
			}
			_, err := lots.SetLotStatus(ctx, &pb.SetLotStatusRequest{Name: "lots/" + lotID(i), Status: pb.LotStatus_LOT_STATUS_RELEASED})
			return err
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
}

// send makes one call for the op.
func send(ctx context.Context, ledger pb.LedgerServiceClient, o op) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	kg := float64(o.mg) / 1e6
	if o.reserve {
		_, err := ledger.CreateReservation(ctx, &pb.CreateReservationRequest{ReservationId: o.id,
			Reservation: &pb.Reservation{Lot: "lots/" + lotID(o.lot), Location: "store", QuantityKg: kg}})
		return err
	}
	_, err := ledger.CreateMovement(ctx, &pb.CreateMovementRequest{MovementId: o.id, Movement: &pb.Movement{
		Kind: pb.MovementKind_MOVEMENT_KIND_ISSUE, Lot: "lots/" + lotID(o.lot), Location: "store", QuantityKg: kg, Customer: "crash"}})
	return err
}

// client works until stop is closed; an op that was begun is sent again, under
// the same id, until the server has said yes or no to it.
func client(ctx context.Context, seed uint64, ledger pb.LedgerServiceClient, stop <-chan struct{}, all *tally) error {
	r := rand.New(rand.NewPCG(seed, 7))
	for {
		select {
		case <-stop:
			return nil
		default:
		}
		o := op{id: uuid.NewString(), lot: r.IntN(hotLots), mg: 1 + r.Int64N(60_000), reserve: r.IntN(3) == 0}
		if r.IntN(2) == 0 {
			o.lot = hotLots + r.IntN(otherLots)
		}
		for {
			err := send(ctx, ledger, o)
			all.mu.Lock()
			all.attempts++
			switch status.Code(err) {
			case codes.OK:
				all.done = append(all.done, o)
			case codes.FailedPrecondition:
				all.refused++
			}
			all.mu.Unlock()
			switch code := status.Code(err); code {
			case codes.Unavailable, codes.DeadlineExceeded, codes.Aborted, codes.Canceled:
				time.Sleep(10 * time.Millisecond)
				continue
			case codes.OK, codes.FailedPrecondition:
			default:
				return fmt.Errorf("%s of %s: %w", o.id, lotID(o.lot), err)
			}
			break
		}
	}
}

func TestNothingIsLostOrDoubledWhenTheServerIsKilled(t *testing.T) {
	ctx, cancel := context.WithTimeout(context.Background(), 8*time.Minute)
	defer cancel()
	s := newServer(t)
	conn := s.dial()
	stock(ctx, t, conn)

	all := &tally{}
	stop := make(chan struct{})
	group, work := errgroup.WithContext(ctx)
	conns := []*grpc.ClientConn{conn, s.dial(), s.dial(), s.dial()}
	for c := range crowd {
		group.Go(func() error {
			return client(work, uint64(c), pb.NewLedgerServiceClient(conns[c%len(conns)]), stop, all)
		})
	}
	for k := range kills {
		time.Sleep(betweenKill + time.Duration(rand.IntN(300))*time.Millisecond)
		s.kill()
		if k%4 == 3 {
			s.killPostgres()
		}
		s.start()
	}
	time.Sleep(betweenKill)
	close(stop)
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d acknowledged, %d refused, %d attempts, %d kills", len(all.done), all.refused, all.attempts, kills)
	if len(all.done) < 1000 || all.refused == 0 {
		t.Fatalf("too little happened to prove anything: %d acknowledged, %d refused", len(all.done), all.refused)
	}
	verify(ctx, t, conn, all)
}

// verify compares the book with what was acknowledged.
func verify(ctx context.Context, t *testing.T, conn *grpc.ClientConn, all *tally) {
	t.Helper()
	issued, reserved := map[string]int64{}, map[string]int64{}
	wanted := map[string]op{}
	for _, o := range all.done {
		wanted[o.id] = o
		if o.reserve {
			reserved[lotID(o.lot)] += o.mg
		} else {
			issued[lotID(o.lot)] += o.mg
		}
	}
	check, err := pb.NewLedgerServiceClient(conn).CheckLedger(ctx, &pb.CheckLedgerRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if len(check.Differences) > 0 {
		t.Errorf("%d balances differ from the ledger, the first: %v", len(check.Differences), check.Differences[0])
	}
	token := ""
	seen := 0
	for {
		page, err := pb.NewLotServiceClient(conn).ListBalances(ctx, &pb.ListBalancesRequest{PageSize: 1000, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range page.Balances {
			lot := b.Lot[len("lots/"):]
			var i int
			if n, _ := fmt.Sscanf(lot, "hot-%d", &i); n == 0 {
				if n, _ := fmt.Sscanf(lot, "lot-%d", &i); n == 0 {
					t.Fatalf("a lot nobody made: %s", lot)
				}
				i += hotLots
			}
			onHand, held := int64(b.OnHandKg*1e6+0.5), int64(b.ReservedKg*1e6+0.5)
			if want := opening(i) - issued[lot]; onHand != want || held != reserved[lot] || b.OnHandKg < 0 || held > onHand {
				t.Errorf("%s: %d mg on hand, %d reserved; acknowledged makes %d and %d", lot, onHand, held, want, reserved[lot])
			}
			seen++
		}
		if token = page.NextPageToken; token == "" {
			break
		}
	}
	if seen != hotLots+otherLots {
		t.Errorf("%d balances, want %d", seen, hotLots+otherLots)
	}
	posted := movements(ctx, t, conn)
	for id, o := range wanted {
		if !o.reserve && posted[id] != 1 {
			t.Errorf("acknowledged movement %s stands %d times in the ledger", id, posted[id])
		}
	}
}

// movements counts the issues in the ledger by id.
func movements(ctx context.Context, t *testing.T, conn *grpc.ClientConn) map[string]int {
	t.Helper()
	out := map[string]int{}
	token := ""
	for {
		page, err := pb.NewLedgerServiceClient(conn).ListMovements(ctx, &pb.ListMovementsRequest{PageSize: 1000, PageToken: token, Filter: `kind = "ISSUE"`})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range page.Movements {
			out[m.Name[len("movements/"):]]++
		}
		if token = page.NextPageToken; token == "" {
			return out
		}
	}
}
