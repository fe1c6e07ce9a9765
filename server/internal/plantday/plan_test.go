package plantday

import (
	"testing"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func TestTheJointPlan(t *testing.T) {
	s := plant(t)
	prog := build(t, s)
	run := func(args ...string) {
		_, out, e := prog.run(t, app.Purchasing, args...)
		t.Log(out, e)
	}
	run("plan", "make")
	run("plan", "what-if", "--order-late", "po-119=10", "--price", "materials/soya=+20%", "--reject", "l-1102", "--due", "b-230=2026-12-01")
	run("plan", "accept", "2026-11-25")
	run("plan", "accept", "2026-11-25")
	run("plan", "list")
	run("plan", "make")
	run("orders", "list")
	_ = pb.Plan{}
}
