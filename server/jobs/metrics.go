package jobs

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// meter counts attempts.
type meter struct {
	running *prometheus.GaugeVec
	ended   *prometheus.CounterVec
	seconds *prometheus.HistogramVec
}

func newMeter() *meter {
	return &meter{
		running: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "millbase_operations_running",
			Help: "Operations that this server works on, by kind."}, []string{"kind"}),
		ended: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "millbase_operation_attempts_total",
			Help: "Attempts at operations that ended on this server, by kind and outcome: succeeded, failed, cancelled, given_back (to the queue), lost (to another server)."},
			[]string{"kind", "outcome"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "millbase_operation_attempt_seconds",
			Help: "How long attempts at operations took, by kind.", Buckets: []float64{.1, .5, 1, 5, 10, 30, 60, 120, 300, 900, 3600}}, []string{"kind"}),
	}
}

func (m *meter) all() []prometheus.Collector {
	return []prometheus.Collector{m.running, m.ended, m.seconds}
}

// begin counts an attempt that begins; the function is called with its outcome.
func (m *meter) begin(kind string) func(outcome string) {
	start := time.Now()
	m.running.WithLabelValues(kind).Inc()
	return func(outcome string) {
		m.running.WithLabelValues(kind).Dec()
		m.ended.WithLabelValues(kind, outcome).Inc()
		m.seconds.WithLabelValues(kind).Observe(time.Since(start).Seconds())
	}
}
