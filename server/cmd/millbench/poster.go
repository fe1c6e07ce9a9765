package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"golang.org/x/net/http2"
	"golang.org/x/net/http2/hpack"

	pb "millbase/proto/millbase/v1"
)

// poster is the load generator of the posting figures. It stands in for some
// clients that each post one movement per gRPC call and wait for the answer
// before they post the next, over one connection. On the other side of the ratio
// stands pgbench, a loop in C over its clients that writes a line of text per
// statement; this is such a loop in Go, so that servers are compared and not load
// generators. Requests and headers are encoded beforehand, a call fills in its
// id, and those that are answered together ask anew in one write. Nothing is left
// out of a call: it has a stream with headers and body of its own, and counts
// when it came back with grpc-status 0 and the movement that bears its id.
type poster struct {
	conn    net.Conn
	in      *bufio.Reader
	out     *bufio.Writer
	framer  *http2.Framer
	decoder *hpack.Decoder
	status  string   // the grpc-status that the decoder met last
	headers []byte   // of the next call, compressed
	indexed []byte   // of every call after the first
	bodies  [][]byte // by lot, without the id
	message []byte
	pick    func() int // of the body to post next

	calls  map[uint32]*posting // under way, by stream
	stream uint32              // of the next call
	window int                 // bytes that the server lets us send
	unread int                 // bytes received that the server was not told of
	posted int                 // calls answered well, in all
}

// posting is a call under way.
type posting struct {
	id       [idSize]byte // as text
	answered bool
}

const (
	idSize     = 36
	prefixSize = 5 // of a message in gRPC: not compressed, and its length
	roomy      = 1 << 30
	postMethod = "/millbase.v1.LedgerService/CreateMovement"
)

// newPoster connects to the server. The calls post the movement of a lot that
// pick names.
func newPoster(ctx context.Context, address, key string, lots int, pick func() int) (*poster, error) {
	p := &poster{pick: pick, calls: map[uint32]*posting{}, stream: 1, window: 65_535, bodies: make([][]byte, lots)}
	for i := range p.bodies {
		var err error
		if p.bodies[i], err = postBody(i); err != nil {
			return nil, err
		}
	}
	p.decoder = hpack.NewDecoder(4096, func(f hpack.HeaderField) {
		if f.Name == "grpc-status" {
			p.status = f.Value
		}
	})
	var block bytes.Buffer
	encoder := hpack.NewEncoder(&block)
	for range 2 { // the second time all of them stand in the table
		block.Reset()
		for _, h := range [][2]string{{":method", "POST"}, {":scheme", "http"}, {":path", postMethod}, {":authority", address},
			{"content-type", "application/grpc"}, {"te", "trailers"}, {"authorization", "Bearer " + key}} {
			if err := encoder.WriteField(hpack.HeaderField{Name: h[0], Value: h[1]}); err != nil {
				return nil, err
			}
		}
		p.headers, p.indexed = p.indexed, bytes.Clone(block.Bytes())
	}
	var err error
	if p.conn, err = new(net.Dialer).DialContext(ctx, "tcp", address); err != nil {
		return nil, err
	}
	p.in, p.out = bufio.NewReaderSize(p.conn, 64<<10), bufio.NewWriterSize(p.conn, 64<<10)
	p.framer = http2.NewFramer(p.out, p.in)
	p.framer.SetReuseFrames()
	if err := p.greet(); err != nil {
		return nil, errors.Join(err, p.close())
	}
	return p, nil
}

// postBody is the request as it is sent, up to the id, which stands last.
func postBody(lot int) ([]byte, error) {
	message, err := proto.Marshal(&pb.CreateMovementRequest{Movement: movement(lot)})
	if err != nil {
		return nil, err
	}
	field := (&pb.CreateMovementRequest{}).ProtoReflect().Descriptor().Fields().ByName("movement_id")
	message = protowire.AppendTag(message, field.Number(), protowire.BytesType)
	message = protowire.AppendVarint(message, idSize)
	body := binary.BigEndian.AppendUint32([]byte{0}, uint32(len(message)+idSize))
	return append(body, message...), nil
}

func (p *poster) greet() error {
	if _, err := p.out.WriteString(http2.ClientPreface); err != nil {
		return err
	}
	if err := p.framer.WriteSettings(http2.Setting{ID: http2.SettingInitialWindowSize, Val: 1 << 20}); err != nil {
		return err
	}
	return p.framer.WriteWindowUpdate(0, roomy)
}

func (p *poster) close() error { return p.conn.Close() }

// run lets some clients post for a time and returns movements per second.
func (p *poster) run(count int, d time.Duration) (float64, error) {
	start, before := time.Now(), p.posted
	if err := p.conn.SetDeadline(start.Add(d + 30*time.Second)); err != nil {
		return 0, err
	}
	for range count {
		if err := p.post(&posting{}); err != nil {
			return 0, err
		}
	}
	for len(p.calls) > 0 {
		if p.in.Buffered() == 0 { // who was answered so far has asked anew
			if err := p.out.Flush(); err != nil {
				return 0, err
			}
		}
		frame, err := p.framer.ReadFrame()
		if err != nil {
			return 0, err
		}
		idle, err := p.take(frame)
		if err == nil && idle != nil && time.Since(start) < d {
			err = p.post(idle)
		}
		if err != nil {
			return 0, err
		}
	}
	return float64(p.posted-before) / time.Since(start).Seconds(), p.out.Flush()
}

// post starts the next call of a client.
func (p *poster) post(c *posting) error {
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	*c = posting{}
	copy(c.id[:], id.String())
	body := p.bodies[p.pick()]
	if p.window -= len(body) + idSize; p.window < 0 {
		return errors.New("the server does not widen its window")
	}
	p.calls[p.stream] = c
	if err := p.framer.WriteHeaders(http2.HeadersFrameParam{StreamID: p.stream, BlockFragment: p.headers, EndHeaders: true}); err != nil {
		return err
	}
	p.message = append(append(p.message[:0], body...), c.id[:]...)
	if err := p.framer.WriteData(p.stream, true, p.message); err != nil {
		return err
	}
	p.headers = p.indexed
	p.stream += 2
	return nil
}

// take looks at a frame from the server. It returns the client whose call it
// ended, if any.
func (p *poster) take(frame http2.Frame) (*posting, error) {
	switch f := frame.(type) {
	case *http2.HeadersFrame:
		p.status = ""
		if _, err := p.decoder.Write(f.HeaderBlockFragment()); err != nil {
			return nil, err
		}
		if !f.HeadersEnded() {
			return nil, errors.New("the server sent headers in parts")
		}
		if f.StreamEnded() {
			return p.end(f.StreamID)
		}
	case *http2.DataFrame:
		c := p.calls[f.StreamID]
		if c == nil {
			return nil, fmt.Errorf("the server answered on stream %d, which is not open", f.StreamID)
		}
		c.answered = c.answered || bytes.Contains(f.Data(), c.id[:])
		if p.unread += int(f.Length); p.unread > roomy/2 {
			defer func() { p.unread = 0 }()
			return nil, p.framer.WriteWindowUpdate(0, uint32(p.unread))
		}
	case *http2.WindowUpdateFrame:
		if f.StreamID == 0 {
			p.window += int(f.Increment)
		}
	case *http2.PingFrame:
		if !f.IsAck() {
			return nil, p.framer.WritePing(true, f.Data)
		}
	case *http2.SettingsFrame:
		if !f.IsAck() {
			return nil, p.framer.WriteSettingsAck()
		}
	default:
		return nil, fmt.Errorf("the server sent %v", f)
	}
	return nil, nil
}

// end is called when a call has its status.
func (p *poster) end(stream uint32) (*posting, error) {
	c := p.calls[stream]
	if c == nil || p.status != "0" || !c.answered {
		return nil, fmt.Errorf("a posting was not carried out: grpc-status %q on stream %d", p.status, stream)
	}
	delete(p.calls, stream)
	p.posted++
	return c, nil
}
