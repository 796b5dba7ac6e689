/*
 * An example of firmware: an amplifier that samples and speaks the protocol. Copy the first part into a project and
 * write the five functions of the second for the board at hand.
 *
 * On a PC a pretend board stands in, so that a host can talk to it:
 *
 *   example            speaks on standard input and output until the input ends
 *   example pty        opens a pseudo-terminal, prints its name, speaks there until it is killed
 *   example DEVICE     speaks on a serial port
 *
 * The signal is a ramp that runs into the end of the converter's range; it is invented and measures nothing.
 */
#define _XOPEN_SOURCE 600 /* for the pretend board; the firmware's part needs C99 only */

#define BSW_HOST_SIDE 0
#include "boltscribe_wire.h"

/* ======== The firmware ======== */

#define TICK_RATE_HZ 1000000U /* a multiple of every rate, or sample times are not what they say */
#define RING_LEN 1024U        /* a power of two; at 20,000 samples/s this bridges 51 ms of a slow line */
#define FRAME_SAMPLES_MAX 128U
#define FRAMES_PER_S 100U /* 10 ms of samples a frame: small enough to be live, large enough to be cheap */

static const struct bsw_identity identity = {
    .adc_bits = 24U,
    .time_scale = 1U,
    .tick_rate_hz = TICK_RATE_HZ,
    .count_min = -8388608L,
    .count_max = 8388607L,
    .rates_hz = {80U, 2000U, 10000U, 20000U},
    .channels = {BSW_CHANNEL_CELL_TEMPERATURE},
    .serial = "EXAMPLE-0001", /* of each board its own: a host hangs calibrations on it */
    .firmware = "example 1.0",
};

struct sample {
    uint32_t tick;
    int32_t count;
};

/*
 * The interrupt alone moves `ring_head`, the main loop alone moves `ring_tail`. On a core that does not read 16 and
 * 32 bits at once, read what the interrupt writes with interrupts off.
 */
static struct sample ring[RING_LEN];
static volatile uint16_t ring_head;
static volatile uint16_t ring_tail;
static volatile uint32_t dropped;

static uint8_t rx_buffer[BSW_DEVICE_BUFFER];
static struct bsw_receiver receiver;

/* One frame at a time; the byte before it is for the delimiter after boot. */
static uint8_t tx[1U + BSW_FRAME_LEN(BSW_SAMPLES_BODY(FRAME_SAMPLES_MAX, 24U))];
static size_t tx_len;
static size_t tx_sent;

enum answer { ANSWER_NONE, ANSWER_IDENTITY, ANSWER_STATUS, ANSWER_REFUSAL };
static enum answer owed;
static struct bsw_refusal refusal;

static bool sampling;
static uint16_t sequence;
static uint32_t ticks_per_sample;
static uint16_t frame_samples;
static bool fresh; /* no frame was made since Start */
static uint32_t expected_tick;

/* What a board gives. */
static uint32_t board_tick(void);
static void board_start(uint32_t ticks_per_sample);
static void board_stop(void);
static bool board_read(uint8_t *byte);
static size_t board_write(const uint8_t *bytes, size_t len);

/* The converter's interrupt. `tick` is the free-running timer as it stood when the sample was taken. */
static void adc_interrupt(uint32_t tick, int32_t count)
{
    const uint16_t next = (uint16_t)((ring_head + 1U) % RING_LEN);
    if (next == ring_tail) {
        dropped += (dropped < UINT32_MAX) ? 1U : 0U;
        return;
    }
    ring[ring_head].tick = tick;
    ring[ring_head].count = count;
    ring_head = next;
}

static void start(uint32_t rate_hz)
{
    board_stop();
    ring_tail = ring_head;
    sequence = 0U;
    fresh = true;
    ticks_per_sample = TICK_RATE_HZ / rate_hz;
    frame_samples = (uint16_t)(rate_hz / FRAMES_PER_S);
    frame_samples = (frame_samples < 1U) ? 1U : frame_samples;
    frame_samples = (frame_samples > FRAME_SAMPLES_MAX) ? (uint16_t)FRAME_SAMPLES_MAX : frame_samples;
    sampling = true;
    board_start(ticks_per_sample);
}

static void stop(void)
{
    board_stop();
    sampling = false;
    ring_tail = ring_head;
}

static void refuse(uint16_t fault, uint8_t about_id, uint32_t detail)
{
    refusal.fault = fault;
    refusal.about_id = about_id;
    refusal.detail = detail;
    owed = ANSWER_REFUSAL;
}

static void obey(const struct bsw_message *message)
{
    switch (message->id) {
    case BSW_ID_IDENTIFY:
        owed = ANSWER_IDENTITY;
        break;
    case BSW_ID_POLL_STATUS:
        owed = ANSWER_STATUS;
        break;
    case BSW_ID_START:
        if (bsw_offers(&identity, message->as.start.rate_hz)) {
            start(message->as.start.rate_hz);
        } else {
            refuse(BSW_REFUSED_RATE, BSW_ID_START, message->as.start.rate_hz);
        }
        break;
    default:
        stop();
        break;
    }
}

/* Takes what the host sent, up to a message that wants an answer; the next waits until that is on its way. */
static void listen(void)
{
    struct bsw_message message;
    struct bsw_fault fault;
    uint8_t byte;
    while ((owed == ANSWER_NONE) && board_read(&byte)) {
        switch (bsw_receive(&receiver, byte, &message, &fault)) {
        case BSW_MESSAGE:
            obey(&message);
            break;
        case BSW_FAULT:
            if (bsw_refusal_for(&fault, &refusal)) {
                owed = ANSWER_REFUSAL;
            }
            break;
        default:
            break;
        }
    }
}

static uint16_t waiting(void)
{
    return (uint16_t)((RING_LEN + ring_head - ring_tail) % RING_LEN);
}

/* Takes a frame of samples out of the ring. A frame never bridges a hole: it ends before it, and the next is marked. */
static size_t samples_frame(uint8_t *out, size_t capacity)
{
    static int32_t counts[FRAME_SAMPLES_MAX];
    struct bsw_fault fault;
    struct bsw_samples samples = {0};
    samples.sequence = sequence;
    samples.first_tick = ring[ring_tail].tick;
    samples.ticks_per_sample = ticks_per_sample;
    samples.packing = 24U;
    samples.counts = counts;
    if (!fresh && (samples.first_tick != expected_tick)) {
        samples.marks |= BSW_MARK_OVERRUN;
    }
    fresh = false;
    expected_tick = samples.first_tick;
    while ((samples.count < frame_samples) && (waiting() > 0U) && (ring[ring_tail].tick == expected_tick)) {
        const int32_t count = ring[ring_tail].count;
        if ((count <= identity.count_min) || (count >= identity.count_max)) {
            samples.marks |= BSW_MARK_SATURATED;
        }
        counts[samples.count] = count;
        samples.count++;
        expected_tick += ticks_per_sample;
        ring_tail = (uint16_t)((ring_tail + 1U) % RING_LEN);
    }
    sequence++;
    return bsw_encode_samples(&samples, out, capacity, &fault);
}

static size_t status_frame(uint8_t *out, size_t capacity)
{
    struct bsw_fault fault;
    struct bsw_status status;
    status.tick = board_tick();
    status.dropped = dropped;
    status.supply_mV = BSW_SUPPLY_NONE;
    status.temperature_centi_c = BSW_TEMPERATURE_NONE;
    for (size_t i = 0U; i < BSW_CHANNELS_MAX; i++) {
        status.channel_values[i] = BSW_CHANNEL_NONE;
    }
    status.channel_values[0] = 2150; /* the cell's temperature in 0.01 degrees; a pretend sensor */
    return bsw_encode_status(&status, out, capacity, &fault);
}

/* The next frame, made only when the one before is out: a line that is too slow fills the ring, never half a frame. */
static size_t next_frame(uint8_t *out, size_t capacity)
{
    struct bsw_fault fault;
    const enum answer now = owed;
    owed = ANSWER_NONE;
    switch (now) {
    case ANSWER_IDENTITY:
        return bsw_encode_identity(&identity, out, capacity, &fault);
    case ANSWER_STATUS:
        return status_frame(out, capacity);
    case ANSWER_REFUSAL:
        return bsw_encode_refusal(&refusal, out, capacity, &fault);
    default:
        return (sampling && (waiting() >= frame_samples)) ? samples_frame(out, capacity) : 0U;
    }
}

static void boot(void)
{
    bsw_receiver_init(&receiver, rx_buffer, sizeof rx_buffer);
    tx[0] = (uint8_t)BSW_DELIMITER;
    owed = ANSWER_IDENTITY;
    tx_len = 1U + next_frame(&tx[1], sizeof tx - 1U);
}

static void turn(void)
{
    listen();
    if (tx_sent == tx_len) {
        tx_sent = 0U;
        tx_len = next_frame(tx, sizeof tx);
    }
    if (tx_sent < tx_len) {
        tx_sent += board_write(&tx[tx_sent], tx_len - tx_sent);
    }
}

/* ======== A pretend board on a PC ======== */

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static int line_in = 0;
static int line_out = 1;
static bool line_gone;

/*
 * Board time in microseconds. It starts shortly before the tick wraps, so that the wrap is always tried. It never
 * runs faster than one sample a turn: a PC that slept would otherwise fire a thousand interrupts at once, which no
 * timer does.
 */
static uint64_t board_us = 0xFFFF0000U;
static uint64_t wall_start_us;
static uint64_t next_sample_us;
static uint32_t step_us;
static uint32_t pretend_n;

static uint64_t wall_us(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return ((uint64_t)now.tv_sec * 1000000U) + ((uint64_t)now.tv_nsec / 1000U);
}

static uint32_t board_tick(void)
{
    return (uint32_t)board_us;
}

static void board_start(uint32_t step)
{
    step_us = step; /* a tick is a microsecond */
    next_sample_us = board_us + step;
    pretend_n = 0U;
}

static void board_stop(void)
{
    step_us = 0U;
}

static int32_t pretend_count(uint32_t n)
{
    const int32_t count = (int32_t)(n % 1024U) * 10000;
    return (count > identity.count_max) ? identity.count_max : count;
}

/* Lets time pass; answers whether it lags behind the wall. */
static bool board_pass(void)
{
    const uint64_t due = 0xFFFF0000U + (wall_us() - wall_start_us);
    if ((step_us == 0U) || (due < next_sample_us)) {
        board_us = (due > board_us) ? due : board_us;
        return false;
    }
    board_us = next_sample_us;
    adc_interrupt((uint32_t)next_sample_us, pretend_count(pretend_n));
    pretend_n++;
    next_sample_us += step_us;
    return true;
}

static bool board_read(uint8_t *byte)
{
    const ssize_t got = read(line_in, byte, 1U);
    if ((got == 0) || ((got < 0) && (errno != EAGAIN) && (errno != EINTR))) {
        line_gone = true;
    }
    return got == 1;
}

static size_t board_write(const uint8_t *bytes, size_t len)
{
    const ssize_t put = write(line_out, bytes, len);
    if ((put < 0) && (errno != EAGAIN) && (errno != EINTR)) {
        line_gone = true;
    }
    return (put < 0) ? 0U : (size_t)put;
}

/* A terminal must neither echo nor change a byte. */
static void make_raw(int fd)
{
    struct termios mode;
    if (tcgetattr(fd, &mode) == 0) {
        mode.c_iflag = 0U;
        mode.c_oflag = 0U;
        mode.c_lflag = 0U;
        mode.c_cflag = (mode.c_cflag & ~(tcflag_t)(CSIZE | PARENB | CSTOPB)) | CS8 | CREAD | CLOCAL;
        mode.c_cc[VMIN] = 1;
        mode.c_cc[VTIME] = 0;
        (void)tcsetattr(fd, TCSANOW, &mode);
    }
}

/* Opens a pseudo-terminal and its far end too, so that the line stays when a host closes it. */
static int open_pty(void)
{
    const int device = posix_openpt(O_RDWR | O_NOCTTY);
    int far_end = -1;
    if ((device >= 0) && (grantpt(device) == 0) && (unlockpt(device) == 0)) {
        far_end = open(ptsname(device), O_RDWR | O_NOCTTY);
    }
    if (far_end < 0) {
        return -1;
    }
    make_raw(far_end);
    printf("%s\n", ptsname(device));
    (void)fflush(stdout);
    return device;
}

int main(int argc, char **argv)
{
    if (argc > 1) {
        const bool pty = strcmp(argv[1], "pty") == 0;
        line_in = pty ? open_pty() : open(argv[1], O_RDWR | O_NOCTTY);
        if (line_in < 0) {
            perror("example: cannot open the line");
            return 1;
        }
        make_raw(line_in);
        line_out = line_in;
    }
    (void)fcntl(line_in, F_SETFL, O_NONBLOCK);
    (void)fcntl(line_out, F_SETFL, O_NONBLOCK);
    wall_start_us = wall_us();
    boot();
    while (!line_gone) {
        turn();
        if (!board_pass()) {
            struct pollfd host = {0};
            host.fd = line_in;
            host.events = POLLIN;
            (void)poll(&host, 1U, 1);
        }
    }
    return 0;
}
