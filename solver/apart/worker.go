package apart

import (
	"bufio"
	"encoding/gob"
	"io"
	"os"
	"os/exec"
	"sync"
)

// worker is one process. Its answers come through answers, nil when it ends.
type worker struct {
	command *exec.Cmd
	number  uint64 // of the last question; the solve that has the worker counts
	in      io.WriteCloser
	mu      sync.Mutex // one question is written at a time
	encoder *gob.Encoder
	buffer  *bufio.Writer
	answers chan *answer
	ended   chan struct{}
}

// start runs a worker.
func start(command *exec.Cmd) (*worker, error) {
	in, err := command.StdinPipe()
	if err != nil {
		return nil, err
	}
	from, to, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	command.ExtraFiles = []*os.File{to}
	err = command.Start()
	to.Close()
	if err != nil {
		from.Close()
		return nil, err
	}
	w := &worker{command: command, in: in, buffer: bufio.NewWriter(in), answers: make(chan *answer, 1), ended: make(chan struct{})}
	w.encoder = gob.NewEncoder(w.buffer)
	go w.read(from)
	return w, nil
}

// read hands answers on until the process ends.
func (w *worker) read(from *os.File) {
	defer from.Close()
	decoder := gob.NewDecoder(bufio.NewReader(from))
	for {
		a := &answer{}
		if decoder.Decode(a) != nil || a.Solution == nil && a.Failed == "" {
			break
		}
		w.answers <- a
	}
	w.kill()
	_ = w.command.Wait() // how it ended does not matter
	close(w.ended)
	close(w.answers)
}

// ask writes a question. A worker that can't take it has ended, which the
// reader notices.
func (w *worker) ask(q question) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.encoder.Encode(q) == nil {
		_ = w.buffer.Flush()
	}
}

func (w *worker) lives() bool {
	select {
	case <-w.ended:
		return false
	default:
		return true
	}
}

// kill ends the process; a second time does nothing.
func (w *worker) kill() { _ = w.command.Process.Kill() }
