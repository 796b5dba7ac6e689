/*
 * The serial protocol between a bolt-tension rig's amplifier and its host, version 1, for firmware in C99.
 *
 * SPEC.md beside this folder is the contract; numbers of sections below are its sections. Everything stands in this
 * one file: include it, there is nothing to link. It allocates nothing, keeps no state of its own, and needs no
 * library but the four headers below. Bytes are put together by shifts, so neither the byte order nor the alignment
 * of the machine matters. It must not know ports, clocks, converters or newtons.
 *
 * Firmware defines BSW_HOST_SIDE as 0 before it includes this file: what only a host needs is then left out.
 */
#ifndef BOLTSCRIBE_WIRE_H
#define BOLTSCRIBE_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#ifndef BSW_HOST_SIDE
#define BSW_HOST_SIDE 1
#endif

/* ---- Limits and numbers (sections 1, 4, 5 and 8) ---- */

#define BSW_PROTOCOL_VERSION 1U
#define BSW_DELIMITER 0x00U
#define BSW_CRC_LEN 4U
#define BSW_BODY_MAX 2048U
#define BSW_RAW_MAX (BSW_BODY_MAX + BSW_CRC_LEN)

/* Longest frame, delimiter included, of a body of so many bytes: one stuffing code for each 254 bytes begun. */
#define BSW_FRAME_LEN(body_len) \
    ((body_len) + BSW_CRC_LEN + (((body_len) + BSW_CRC_LEN + 253U) / 254U) + 1U)
#define BSW_FRAME_MAX BSW_FRAME_LEN(BSW_BODY_MAX)

#define BSW_IDENTITY_BODY 133U
#define BSW_SAMPLES_HEAD 16U /* version, id and header; the counts follow */
#define BSW_STATUS_BODY 30U
#define BSW_REFUSAL_BODY 9U
#define BSW_COMMAND_BODY 2U /* Identify, Stop, PollStatus */
#define BSW_START_BODY 6U

/* Body of so many samples at 24 or 32 bits. */
#define BSW_SAMPLES_BODY(count, bits) (BSW_SAMPLES_HEAD + ((count) * ((bits) / 8U)))
#define BSW_SAMPLES_MAX_24 ((BSW_BODY_MAX - BSW_SAMPLES_HEAD) / 3U)
#define BSW_SAMPLES_MAX_32 ((BSW_BODY_MAX - BSW_SAMPLES_HEAD) / 4U)

/*
 * A receive buffer that a device can afford. The longest message of a host has 12 bytes with its delimiter; the rest
 * is room for messages of later versions, so that they can be refused by name. Longer frames count as overlong.
 */
#define BSW_DEVICE_BUFFER 64U
/* A receive buffer that takes every frame, for a host. */
#define BSW_HOST_BUFFER (BSW_FRAME_MAX - 1U)

#define BSW_RATES_MAX 12U
#define BSW_CHANNELS_MAX 4U
#define BSW_TEXT_MAX 32U
#define BSW_TIME_SCALE_MAX 1000U

#define BSW_ID_IDENTITY 0x01U
#define BSW_ID_SAMPLES 0x02U
#define BSW_ID_STATUS 0x03U
#define BSW_ID_REFUSAL 0x04U
#define BSW_ID_IDENTIFY 0x81U
#define BSW_ID_START 0x82U
#define BSW_ID_STOP 0x83U
#define BSW_ID_POLL_STATUS 0x84U

#define BSW_CHANNEL_SUPPLY 1U
#define BSW_CHANNEL_BOARD_TEMPERATURE 2U
#define BSW_CHANNEL_CELL_TEMPERATURE 3U
#define BSW_CHANNEL_AIR_PRESSURE 4U
#define BSW_CHANNEL_TOOL_BATTERY 5U
#define BSW_CHANNEL_MAINS 6U

#define BSW_MARK_SATURATED 1U
#define BSW_MARK_OVERRUN 2U

#define BSW_SUPPLY_NONE 0xFFFFU
#define BSW_TEMPERATURE_NONE INT16_MIN
#define BSW_CHANNEL_NONE INT32_MIN

#define BSW_REFUSED_RATE 1U
#define BSW_REFUSED_UNKNOWN_MESSAGE 2U
#define BSW_REFUSED_LENGTH 3U
#define BSW_REFUSED_VERSION 4U
#define BSW_REFUSED_NOT_READY 5U
#define BSW_REFUSED_CONVERTER 6U
#define BSW_REFUSED_VALUE 7U

/* ---- Messages ---- */

/* Section 5.1. Unused slots of rates and channels are 0; texts end with a zero byte. */
struct bsw_identity {
    uint8_t adc_bits;
    uint16_t time_scale; /* 1 on real hardware */
    uint32_t tick_rate_hz;
    int32_t count_min;
    int32_t count_max;
    uint32_t rates_hz[BSW_RATES_MAX];
    uint8_t channels[BSW_CHANNELS_MAX];
    char serial[BSW_TEXT_MAX + 1U];
    char firmware[BSW_TEXT_MAX + 1U];
};

/* Section 5.2. Who encodes points `counts` at the samples; who decodes finds them in `packed`, inside the frame. */
struct bsw_samples {
    uint16_t sequence;
    uint32_t first_tick;
    uint32_t ticks_per_sample;
    uint8_t marks;
    uint8_t packing; /* 24 or 32: bits of one count */
    uint16_t count;
    const int32_t *counts;
    const uint8_t *packed;
};

/* Section 5.3. Not measured: BSW_SUPPLY_NONE, BSW_TEMPERATURE_NONE, BSW_CHANNEL_NONE (also in unused slots). */
struct bsw_status {
    uint32_t tick;
    uint32_t dropped;
    uint16_t supply_mV;
    int16_t temperature_centi_c;
    int32_t channel_values[BSW_CHANNELS_MAX];
};

/* Section 5.4. */
struct bsw_refusal {
    uint16_t fault; /* BSW_REFUSED_..., never 0 */
    uint8_t about_id;
    uint32_t detail;
};

/* Section 6. */
struct bsw_start {
    uint32_t rate_hz;
};

/* A received message: `id` says which part holds. Identify, Stop and PollStatus have none. */
struct bsw_message {
    uint8_t id;
    union {
        struct bsw_start start;
#if BSW_HOST_SIDE
        struct bsw_identity identity;
        struct bsw_samples samples;
        struct bsw_status status;
        struct bsw_refusal refusal;
#endif
    } as;
};

/* ---- Faults: plain data, to be counted or turned into a Refusal ---- */

/* In the order in which a receiver checks (section 2.3). */
enum bsw_fault_kind {
    BSW_FAULT_NONE = 0,
    BSW_FAULT_OVERLONG, /* more than the buffer before a delimiter; `found` bytes are gone, the delimiter included */
    BSW_FAULT_EMPTY,    /* nothing between two delimiters, which is harmless */
    BSW_FAULT_TOO_LONG,
    BSW_FAULT_COBS,
    BSW_FAULT_TOO_SHORT,
    BSW_FAULT_CRC,             /* `expected` over the body, `found` in the frame */
    BSW_FAULT_VERSION,         /* `found` */
    BSW_FAULT_UNKNOWN_MESSAGE, /* `found` */
    BSW_FAULT_LENGTH,          /* `expected` and `found` body bytes */
    BSW_FAULT_VALUE,           /* `offset` of the field in the body */
    BSW_FAULT_OUT_TOO_SMALL    /* encoding only: `expected` bytes always suffice, `found` were given */
};

struct bsw_fault {
    enum bsw_fault_kind kind;
    uint8_t about_id; /* message id, 0 where none could be read */
    uint8_t offset;
    uint32_t expected;
    uint32_t found;
};

static inline struct bsw_fault bsw_fault_of(enum bsw_fault_kind kind, uint8_t about_id, uint32_t expected,
                                            uint32_t found)
{
    struct bsw_fault fault;
    fault.kind = kind;
    fault.about_id = about_id;
    fault.offset = 0U;
    fault.expected = expected;
    fault.found = found;
    return fault;
}

static inline struct bsw_fault bsw_fault_value(uint8_t about_id, uint8_t offset)
{
    struct bsw_fault fault = bsw_fault_of(BSW_FAULT_VALUE, about_id, 0U, 0U);
    fault.offset = offset;
    return fault;
}

static inline struct bsw_fault bsw_fault_none(void)
{
    return bsw_fault_of(BSW_FAULT_NONE, 0U, 0U, 0U);
}

/* ---- Checksum (section 3) ---- */

/*
 * CRC-32/ISO-HDLC, one byte further. Start with 0xFFFFFFFF and invert the end. A table of 16 costs 64 bytes and two
 * steps a byte; one of 256 would be about twice as fast for 1 KiB of flash.
 */
static inline uint32_t bsw_crc_step(uint32_t crc, uint8_t byte)
{
    static const uint32_t table[16] = {
        0x00000000U, 0x1DB71064U, 0x3B6E20C8U, 0x26D930ACU, 0x76DC4190U, 0x6B6B51F4U, 0x4DB26158U, 0x5005713CU,
        0xEDB88320U, 0xF00F9344U, 0xD6D6A3E8U, 0xCB61B38CU, 0x9B64C2B0U, 0x86D3D2D4U, 0xA00AE278U, 0xBDBDF21CU,
    };
    crc ^= (uint32_t)byte;
    crc = (crc >> 4) ^ table[crc & 0x0FU];
    crc = (crc >> 4) ^ table[crc & 0x0FU];
    return crc;
}

static inline uint32_t bsw_crc32(const uint8_t *bytes, size_t len)
{
    uint32_t crc = 0xFFFFFFFFU;
    for (size_t i = 0U; i < len; i++) {
        crc = bsw_crc_step(crc, bytes[i]);
    }
    return ~crc;
}

/* ---- Little-endian fields ---- */

static inline uint16_t bsw_u16_at(const uint8_t *at)
{
    return (uint16_t)((uint32_t)at[0] | ((uint32_t)at[1] << 8));
}

static inline uint32_t bsw_u32_at(const uint8_t *at)
{
    return (uint32_t)at[0] | ((uint32_t)at[1] << 8) | ((uint32_t)at[2] << 16) | ((uint32_t)at[3] << 24);
}

/* Casting a large unsigned number to a signed type is up to the compiler; copying its bits is not. */
static inline int32_t bsw_signed32(uint32_t bits)
{
    int32_t value;
    (void)memcpy(&value, &bits, sizeof value);
    return value;
}

static inline int16_t bsw_signed16(uint16_t bits)
{
    int16_t value;
    (void)memcpy(&value, &bits, sizeof value);
    return value;
}

/* ---- Encoding: stuffs and sums while it writes, so that no second buffer is needed ---- */

struct bsw_writer {
    uint8_t *out;
    size_t at;      /* bytes written */
    size_t code_at; /* where the code of the open block stands */
    uint8_t code;   /* bytes of the open block, its code included */
    uint32_t crc;
};

static inline void bsw_stuff(struct bsw_writer *w, uint8_t byte)
{
    if (w->code == 0xFFU) {
        /* The next block is opened only now: data that end with a full block have no closing code. */
        w->out[w->code_at] = w->code;
        w->code_at = w->at;
        w->at++;
        w->code = 1U;
    }
    if (byte == 0U) {
        w->out[w->code_at] = w->code;
        w->code_at = w->at;
        w->at++;
        w->code = 1U;
    } else {
        w->out[w->at] = byte;
        w->at++;
        w->code++;
    }
}

static inline void bsw_put_u8(struct bsw_writer *w, uint8_t byte)
{
    w->crc = bsw_crc_step(w->crc, byte);
    bsw_stuff(w, byte);
}

/* The lowest `bytes` bytes of a number. */
static inline void bsw_put_low(struct bsw_writer *w, uint32_t bits, uint8_t bytes)
{
    for (uint8_t i = 0U; i < bytes; i++) {
        bsw_put_u8(w, (uint8_t)(bits & 0xFFU));
        bits >>= 8;
    }
}

/* Refuses an output that is shorter than the longest frame of this body. */
static inline bool bsw_begin(struct bsw_writer *w, uint8_t *out, size_t capacity, uint8_t id, size_t body_len,
                             struct bsw_fault *fault)
{
    const size_t expected = BSW_FRAME_LEN(body_len);
    if (capacity < expected) {
        *fault = bsw_fault_of(BSW_FAULT_OUT_TOO_SMALL, id, (uint32_t)expected, (uint32_t)capacity);
        return false;
    }
    *fault = bsw_fault_none();
    w->out = out;
    w->at = 1U;
    w->code_at = 0U;
    w->code = 1U;
    w->crc = 0xFFFFFFFFU;
    bsw_put_u8(w, (uint8_t)BSW_PROTOCOL_VERSION);
    bsw_put_u8(w, id);
    return true;
}

/* Appends checksum and delimiter; answers the length of the whole frame. */
static inline size_t bsw_end(struct bsw_writer *w)
{
    uint32_t crc = ~w->crc;
    for (uint8_t i = 0U; i < BSW_CRC_LEN; i++) {
        bsw_stuff(w, (uint8_t)(crc & 0xFFU));
        crc >>= 8;
    }
    w->out[w->code_at] = w->code;
    w->out[w->at] = (uint8_t)BSW_DELIMITER;
    return w->at + 1U;
}

/* ---- What values are allowed ---- */

/* Length of a text of a slot, 0 where it is empty, not printable, or does not end within the slot. */
static inline size_t bsw_text_len(const char *text, size_t slot)
{
    size_t len = 0U;
    while ((len < slot) && (text[len] != '\0')) {
        if ((text[len] < ' ') || (text[len] > '~')) {
            return 0U;
        }
        len++;
    }
    return (len <= BSW_TEXT_MAX) ? len : 0U;
}

static inline bool bsw_rates_sound(const uint32_t *rates_hz)
{
    bool used = true;
    for (size_t i = 1U; i < BSW_RATES_MAX; i++) {
        used = used && (rates_hz[i] != 0U);
        if (used ? (rates_hz[i] <= rates_hz[i - 1U]) : (rates_hz[i] != 0U)) {
            return false;
        }
    }
    return rates_hz[0] != 0U;
}

static inline bool bsw_channels_sound(const uint8_t *channels)
{
    for (size_t i = 1U; i < BSW_CHANNELS_MAX; i++) {
        if ((channels[i] != 0U) && (channels[i - 1U] == 0U)) {
            return false;
        }
    }
    return true;
}

static inline bool bsw_offers(const struct bsw_identity *identity, uint32_t rate_hz)
{
    for (size_t i = 0U; i < BSW_RATES_MAX; i++) {
        if ((rate_hz != 0U) && (identity->rates_hz[i] == rate_hz)) {
            return true;
        }
    }
    return false;
}

/* Offset in the body of the first field that is not allowed, 0 where all are. */
static inline uint8_t bsw_identity_fault(const struct bsw_identity *identity)
{
    /* Unsigned, because the span of two 32-bit numbers does not fit a signed one. */
    const uint32_t span = (uint32_t)identity->count_max - (uint32_t)identity->count_min;
    uint32_t highest_hz = 0U;
    for (size_t i = 0U; i < BSW_RATES_MAX; i++) {
        highest_hz = (identity->rates_hz[i] > highest_hz) ? identity->rates_hz[i] : highest_hz;
    }
    if (!bsw_rates_sound(identity->rates_hz)) {
        return 17U;
    }
    if (!bsw_channels_sound(identity->channels)) {
        return 65U;
    }
    if (bsw_text_len(identity->serial, sizeof identity->serial) == 0U) {
        return 69U;
    }
    if (bsw_text_len(identity->firmware, sizeof identity->firmware) == 0U) {
        return 101U;
    }
    if ((identity->adc_bits < 8U) || (identity->adc_bits > 32U)) {
        return 2U;
    }
    if ((identity->time_scale < 1U) || (identity->time_scale > BSW_TIME_SCALE_MAX)) {
        return 3U;
    }
    if ((identity->count_max <= identity->count_min) || (span > (0xFFFFFFFFU >> (32U - identity->adc_bits)))) {
        return 13U;
    }
    return (identity->tick_rate_hz < highest_hz) ? 5U : 0U;
}

/* ---- From the device: each answers the length of the frame, 0 with a fault where it is refused ---- */

static inline void bsw_put_text(struct bsw_writer *w, const char *text)
{
    size_t len = bsw_text_len(text, BSW_TEXT_MAX);
    for (size_t i = 0U; i < BSW_TEXT_MAX; i++) {
        bsw_put_u8(w, (i < len) ? (uint8_t)text[i] : 0U);
    }
}

/* `out` needs BSW_FRAME_LEN(BSW_IDENTITY_BODY) bytes. */
static inline size_t bsw_encode_identity(const struct bsw_identity *identity, uint8_t *out, size_t capacity,
                                         struct bsw_fault *fault)
{
    struct bsw_writer w;
    const uint8_t wrong = bsw_identity_fault(identity);
    if (wrong != 0U) {
        *fault = bsw_fault_value(BSW_ID_IDENTITY, wrong);
        return 0U;
    }
    if (!bsw_begin(&w, out, capacity, BSW_ID_IDENTITY, BSW_IDENTITY_BODY, fault)) {
        return 0U;
    }
    bsw_put_u8(&w, identity->adc_bits);
    bsw_put_low(&w, identity->time_scale, 2U);
    bsw_put_low(&w, identity->tick_rate_hz, 4U);
    bsw_put_low(&w, (uint32_t)identity->count_min, 4U);
    bsw_put_low(&w, (uint32_t)identity->count_max, 4U);
    for (size_t i = 0U; i < BSW_RATES_MAX; i++) {
        bsw_put_low(&w, identity->rates_hz[i], 4U);
    }
    for (size_t i = 0U; i < BSW_CHANNELS_MAX; i++) {
        bsw_put_u8(&w, identity->channels[i]);
    }
    bsw_put_text(&w, identity->serial);
    bsw_put_text(&w, identity->firmware);
    return bsw_end(&w);
}

/* Offset of the first field of a header that is not allowed, in the order of the decoder; 0 where all are. */
static inline uint8_t bsw_samples_fault(const struct bsw_samples *samples)
{
    if ((samples->marks & (uint8_t)~(BSW_MARK_SATURATED | BSW_MARK_OVERRUN)) != 0U) {
        return 12U;
    }
    if ((samples->packing != 24U) && (samples->packing != 32U)) {
        return 13U;
    }
    return (samples->count == 0U) ? 14U : 0U;
}

/* `out` needs BSW_FRAME_LEN(BSW_SAMPLES_BODY(count, packing)) bytes. `packed` is not read. */
static inline size_t bsw_encode_samples(const struct bsw_samples *samples, uint8_t *out, size_t capacity,
                                        struct bsw_fault *fault)
{
    struct bsw_writer w;
    const size_t width = (size_t)samples->packing / 8U;
    uint8_t wrong = bsw_samples_fault(samples);
    if ((wrong == 0U) && (samples->ticks_per_sample == 0U)) {
        wrong = 8U;
    }
    if ((wrong == 0U) && (samples->count > ((BSW_BODY_MAX - BSW_SAMPLES_HEAD) / width))) {
        wrong = 14U;
    }
    for (size_t i = 0U; (wrong == 0U) && (samples->packing == 24U) && (i < samples->count); i++) {
        if ((samples->counts[i] < -8388608L) || (samples->counts[i] > 8388607L)) {
            wrong = BSW_SAMPLES_HEAD;
        }
    }
    if (wrong != 0U) {
        *fault = bsw_fault_value(BSW_ID_SAMPLES, wrong);
        return 0U;
    }
    if (!bsw_begin(&w, out, capacity, BSW_ID_SAMPLES, BSW_SAMPLES_HEAD + (samples->count * width), fault)) {
        return 0U;
    }
    bsw_put_low(&w, samples->sequence, 2U);
    bsw_put_low(&w, samples->first_tick, 4U);
    bsw_put_low(&w, samples->ticks_per_sample, 4U);
    bsw_put_u8(&w, samples->marks);
    bsw_put_u8(&w, samples->packing);
    bsw_put_low(&w, samples->count, 2U);
    for (size_t i = 0U; i < samples->count; i++) {
        bsw_put_low(&w, (uint32_t)samples->counts[i], (uint8_t)width);
    }
    return bsw_end(&w);
}

/* `out` needs BSW_FRAME_LEN(BSW_STATUS_BODY) bytes. */
static inline size_t bsw_encode_status(const struct bsw_status *status, uint8_t *out, size_t capacity,
                                       struct bsw_fault *fault)
{
    struct bsw_writer w;
    if (!bsw_begin(&w, out, capacity, BSW_ID_STATUS, BSW_STATUS_BODY, fault)) {
        return 0U;
    }
    bsw_put_low(&w, status->tick, 4U);
    bsw_put_low(&w, status->dropped, 4U);
    bsw_put_low(&w, status->supply_mV, 2U);
    bsw_put_low(&w, (uint32_t)status->temperature_centi_c, 2U);
    for (size_t i = 0U; i < BSW_CHANNELS_MAX; i++) {
        bsw_put_low(&w, (uint32_t)status->channel_values[i], 4U);
    }
    return bsw_end(&w);
}

/* `out` needs BSW_FRAME_LEN(BSW_REFUSAL_BODY) bytes. */
static inline size_t bsw_encode_refusal(const struct bsw_refusal *refusal, uint8_t *out, size_t capacity,
                                        struct bsw_fault *fault)
{
    struct bsw_writer w;
    if (refusal->fault == 0U) {
        *fault = bsw_fault_value(BSW_ID_REFUSAL, 2U);
        return 0U;
    }
    if (!bsw_begin(&w, out, capacity, BSW_ID_REFUSAL, BSW_REFUSAL_BODY, fault)) {
        return 0U;
    }
    bsw_put_low(&w, refusal->fault, 2U);
    bsw_put_u8(&w, refusal->about_id);
    bsw_put_low(&w, refusal->detail, 4U);
    return bsw_end(&w);
}

/* ---- From the host: what a device receives and a host sends ---- */

#if BSW_HOST_SIDE

/* Identify, Stop or PollStatus. `out` needs BSW_FRAME_LEN(BSW_COMMAND_BODY) bytes. */
static inline size_t bsw_encode_command(uint8_t id, uint8_t *out, size_t capacity, struct bsw_fault *fault)
{
    struct bsw_writer w;
    return bsw_begin(&w, out, capacity, id, BSW_COMMAND_BODY, fault) ? bsw_end(&w) : 0U;
}

/* `out` needs BSW_FRAME_LEN(BSW_START_BODY) bytes. */
static inline size_t bsw_encode_start(const struct bsw_start *start, uint8_t *out, size_t capacity,
                                      struct bsw_fault *fault)
{
    struct bsw_writer w;
    if (start->rate_hz == 0U) {
        *fault = bsw_fault_value(BSW_ID_START, 2U);
        return 0U;
    }
    if (!bsw_begin(&w, out, capacity, BSW_ID_START, BSW_START_BODY, fault)) {
        return 0U;
    }
    bsw_put_low(&w, start->rate_hz, 4U);
    return bsw_end(&w);
}

/* Any message. An id that version 1 does not have is refused as such. */
static inline size_t bsw_encode(const struct bsw_message *message, uint8_t *out, size_t capacity,
                                struct bsw_fault *fault)
{
    switch (message->id) {
    case BSW_ID_IDENTITY:
        return bsw_encode_identity(&message->as.identity, out, capacity, fault);
    case BSW_ID_SAMPLES:
        return bsw_encode_samples(&message->as.samples, out, capacity, fault);
    case BSW_ID_STATUS:
        return bsw_encode_status(&message->as.status, out, capacity, fault);
    case BSW_ID_REFUSAL:
        return bsw_encode_refusal(&message->as.refusal, out, capacity, fault);
    case BSW_ID_START:
        return bsw_encode_start(&message->as.start, out, capacity, fault);
    case BSW_ID_IDENTIFY:
    case BSW_ID_STOP:
    case BSW_ID_POLL_STATUS:
        return bsw_encode_command(message->id, out, capacity, fault);
    default:
        *fault = bsw_fault_of(BSW_FAULT_UNKNOWN_MESSAGE, message->id, 0U, message->id);
        return 0U;
    }
}

/* ---- Reading what a device sends ---- */

/* A text that bytes follow behind its padding is left empty, so that the check of values refuses it. */
static inline void bsw_read_text(const uint8_t *slot, char *text)
{
    size_t len = 0U;
    size_t behind;
    while ((len < BSW_TEXT_MAX) && (slot[len] != 0U)) {
        len++;
    }
    for (behind = len; (behind < BSW_TEXT_MAX) && (slot[behind] == 0U); behind++) {
    }
    (void)memset(text, 0, BSW_TEXT_MAX + 1U);
    if (behind == BSW_TEXT_MAX) {
        (void)memcpy(text, slot, len);
    }
}

static inline uint8_t bsw_read_identity(const uint8_t *body, struct bsw_identity *identity)
{
    identity->adc_bits = body[2];
    identity->time_scale = bsw_u16_at(&body[3]);
    identity->tick_rate_hz = bsw_u32_at(&body[5]);
    identity->count_min = bsw_signed32(bsw_u32_at(&body[9]));
    identity->count_max = bsw_signed32(bsw_u32_at(&body[13]));
    for (size_t i = 0U; i < BSW_RATES_MAX; i++) {
        identity->rates_hz[i] = bsw_u32_at(&body[17U + (4U * i)]);
    }
    (void)memcpy(identity->channels, &body[65], BSW_CHANNELS_MAX);
    bsw_read_text(&body[69], identity->serial);
    bsw_read_text(&body[101], identity->firmware);
    return bsw_identity_fault(identity);
}

static inline void bsw_read_status(const uint8_t *body, struct bsw_status *status)
{
    status->tick = bsw_u32_at(&body[2]);
    status->dropped = bsw_u32_at(&body[6]);
    status->supply_mV = bsw_u16_at(&body[10]);
    status->temperature_centi_c = bsw_signed16(bsw_u16_at(&body[12]));
    for (size_t i = 0U; i < BSW_CHANNELS_MAX; i++) {
        status->channel_values[i] = bsw_signed32(bsw_u32_at(&body[14U + (4U * i)]));
    }
}

static inline struct bsw_fault bsw_read_samples(const uint8_t *body, size_t len, struct bsw_samples *samples)
{
    uint32_t expected = BSW_SAMPLES_HEAD;
    uint8_t wrong;
    if (len < BSW_SAMPLES_HEAD) {
        return bsw_fault_of(BSW_FAULT_LENGTH, BSW_ID_SAMPLES, expected, (uint32_t)len);
    }
    samples->sequence = bsw_u16_at(&body[2]);
    samples->first_tick = bsw_u32_at(&body[4]);
    samples->ticks_per_sample = bsw_u32_at(&body[8]);
    samples->marks = body[12];
    samples->packing = body[13];
    samples->count = bsw_u16_at(&body[14]);
    samples->counts = NULL;
    samples->packed = &body[BSW_SAMPLES_HEAD];
    wrong = bsw_samples_fault(samples);
    if (wrong != 0U) {
        return bsw_fault_value(BSW_ID_SAMPLES, wrong);
    }
    expected += (uint32_t)samples->count * ((uint32_t)samples->packing / 8U);
    if (len != expected) {
        return bsw_fault_of(BSW_FAULT_LENGTH, BSW_ID_SAMPLES, expected, (uint32_t)len);
    }
    return (samples->ticks_per_sample == 0U) ? bsw_fault_value(BSW_ID_SAMPLES, 8U) : bsw_fault_none();
}

/* Count k of a received frame; k is below its `count`. */
static inline int32_t bsw_count_at(const struct bsw_samples *samples, size_t k)
{
    const uint8_t *at = &samples->packed[k * ((size_t)samples->packing / 8U)];
    if (samples->packing == 32U) {
        return bsw_signed32(bsw_u32_at(at));
    }
    /* The highest bit of the three bytes is the sign. */
    const uint32_t low = (uint32_t)at[0] | ((uint32_t)at[1] << 8) | ((uint32_t)at[2] << 16);
    return bsw_signed32(((low & 0x800000U) != 0U) ? (low | 0xFF000000U) : low);
}

#endif /* BSW_HOST_SIDE */

/* ---- Decoding (sections 2.2 and 2.3) ---- */

/*
 * Unstuffs in place. What is written always stands before what is still to be read, because each code byte makes room
 * for the zero behind its block.
 */
static inline enum bsw_fault_kind bsw_unstuff(uint8_t *frame, size_t len, size_t *raw_len)
{
    size_t from = 0U;
    size_t to = 0U;
    uint8_t code = 0xFFU; /* no zero stands before the first block */
    if (memchr(frame, (int)BSW_DELIMITER, len) != NULL) {
        return BSW_FAULT_COBS;
    }
    while (from < len) {
        if (code != 0xFFU) {
            if (to >= BSW_RAW_MAX) {
                return BSW_FAULT_TOO_LONG;
            }
            frame[to] = 0U;
            to++;
        }
        code = frame[from];
        from++;
        for (uint8_t left = code; left > 1U; left--) {
            if (from >= len) {
                return BSW_FAULT_COBS;
            }
            if (to >= BSW_RAW_MAX) {
                return BSW_FAULT_TOO_LONG;
            }
            frame[to] = frame[from];
            to++;
            from++;
        }
    }
    *raw_len = to;
    return BSW_FAULT_NONE;
}

/* The body length of an id; 0 for an unknown one, and for Samples, which say theirs. */
static inline size_t bsw_body_len(uint8_t id)
{
    switch (id) {
#if BSW_HOST_SIDE
    case BSW_ID_IDENTITY:
        return BSW_IDENTITY_BODY;
    case BSW_ID_STATUS:
        return BSW_STATUS_BODY;
    case BSW_ID_REFUSAL:
        return BSW_REFUSAL_BODY;
#endif
    case BSW_ID_START:
        return BSW_START_BODY;
    case BSW_ID_IDENTIFY:
    case BSW_ID_STOP:
    case BSW_ID_POLL_STATUS:
        return BSW_COMMAND_BODY;
    default:
        return 0U;
    }
}

/* A body whose checksum and version are right. */
static inline struct bsw_fault bsw_read_body(const uint8_t *body, size_t len, struct bsw_message *message)
{
    const uint8_t id = body[1];
    const size_t expected = bsw_body_len(id);
    uint8_t wrong = 0U;
    message->id = id;
#if BSW_HOST_SIDE
    if (id == BSW_ID_SAMPLES) {
        return bsw_read_samples(body, len, &message->as.samples);
    }
#endif
    if (expected == 0U) {
        return bsw_fault_of(BSW_FAULT_UNKNOWN_MESSAGE, id, 0U, id);
    }
    if (len != expected) {
        return bsw_fault_of(BSW_FAULT_LENGTH, id, (uint32_t)expected, (uint32_t)len);
    }
    switch (id) {
    case BSW_ID_START:
        message->as.start.rate_hz = bsw_u32_at(&body[2]);
        wrong = (message->as.start.rate_hz == 0U) ? 2U : 0U;
        break;
#if BSW_HOST_SIDE
    case BSW_ID_IDENTITY:
        wrong = bsw_read_identity(body, &message->as.identity);
        break;
    case BSW_ID_STATUS:
        bsw_read_status(body, &message->as.status);
        break;
    case BSW_ID_REFUSAL:
        message->as.refusal.fault = bsw_u16_at(&body[2]);
        message->as.refusal.about_id = body[4];
        message->as.refusal.detail = bsw_u32_at(&body[5]);
        wrong = (message->as.refusal.fault == 0U) ? 2U : 0U;
        break;
#endif
    default:
        break; /* without a payload */
    }
    return (wrong != 0U) ? bsw_fault_value(id, wrong) : bsw_fault_none();
}

/*
 * Reads one frame, given without its delimiter. The frame is overwritten; the counts of Samples stay in it. The
 * message holds only where the answer is BSW_FAULT_NONE.
 */
static inline struct bsw_fault bsw_decode(uint8_t *frame, size_t len, struct bsw_message *message)
{
    enum bsw_fault_kind kind;
    size_t raw_len = 0U;
    size_t body_len;
    uint32_t expected;
    uint32_t found;
    if (len == 0U) {
        return bsw_fault_of(BSW_FAULT_EMPTY, 0U, 0U, 0U);
    }
    if (len >= BSW_FRAME_MAX) {
        return bsw_fault_of(BSW_FAULT_TOO_LONG, 0U, 0U, 0U);
    }
    kind = bsw_unstuff(frame, len, &raw_len);
    if (kind != BSW_FAULT_NONE) {
        return bsw_fault_of(kind, 0U, 0U, 0U);
    }
    if (raw_len < (2U + BSW_CRC_LEN)) {
        return bsw_fault_of(BSW_FAULT_TOO_SHORT, 0U, 0U, 0U);
    }
    body_len = raw_len - BSW_CRC_LEN;
    expected = bsw_crc32(frame, body_len);
    found = bsw_u32_at(&frame[body_len]);
    if (expected != found) {
        return bsw_fault_of(BSW_FAULT_CRC, 0U, expected, found);
    }
    if (frame[0] != BSW_PROTOCOL_VERSION) {
        return bsw_fault_of(BSW_FAULT_VERSION, frame[1], BSW_PROTOCOL_VERSION, frame[0]);
    }
    return bsw_read_body(frame, body_len, message);
}

/*
 * The Refusal that a device owes for a fault (section 8); false where it answers by nothing: to damage, because the
 * host may not have sent that, and to its own messages come back on a line that echoes, because its Refusals would
 * come back as well, for ever.
 */
static inline bool bsw_refusal_for(const struct bsw_fault *fault, struct bsw_refusal *refusal)
{
    const bool own = (fault->about_id >= BSW_ID_IDENTITY) && (fault->about_id <= BSW_ID_REFUSAL);
    refusal->about_id = fault->about_id;
    refusal->detail = 0U;
    switch (fault->kind) {
    case BSW_FAULT_VERSION:
        refusal->fault = BSW_REFUSED_VERSION;
        refusal->detail = BSW_PROTOCOL_VERSION;
        return true;
    case BSW_FAULT_UNKNOWN_MESSAGE:
        refusal->fault = BSW_REFUSED_UNKNOWN_MESSAGE;
        return !own;
    case BSW_FAULT_LENGTH:
        refusal->fault = BSW_REFUSED_LENGTH;
        refusal->detail = fault->found;
        return !own;
    case BSW_FAULT_VALUE:
        refusal->fault = BSW_REFUSED_VALUE;
        refusal->detail = fault->offset;
        return !own;
    default:
        return false;
    }
}

/* ---- Receiving byte by byte ---- */

/* Splits a stream at delimiters in a buffer of its user; one receiver has one user at a time. */
struct bsw_receiver {
    uint8_t *buffer;
    uint16_t capacity;
    uint32_t pending; /* bytes since the last delimiter; above the capacity they are counted, not kept */
};

enum bsw_received {
    BSW_NOTHING, /* no frame is whole yet, which is normal */
    BSW_MESSAGE, /* `message` holds until the next byte is received */
    BSW_FAULT    /* `fault` tells why a frame was refused */
};

/* BSW_DEVICE_BUFFER bytes are enough for a device, BSW_HOST_BUFFER for a host. */
static inline void bsw_receiver_init(struct bsw_receiver *receiver, uint8_t *buffer, uint16_t capacity)
{
    receiver->buffer = buffer;
    receiver->capacity = capacity;
    receiver->pending = 0U;
}

static inline enum bsw_received bsw_receive(struct bsw_receiver *receiver, uint8_t byte, struct bsw_message *message,
                                            struct bsw_fault *fault)
{
    const uint32_t len = receiver->pending;
    if (byte != BSW_DELIMITER) {
        if (len < receiver->capacity) {
            receiver->buffer[len] = byte;
        }
        receiver->pending = (len < UINT32_MAX) ? (len + 1U) : len;
        return BSW_NOTHING;
    }
    receiver->pending = 0U;
    if (len > receiver->capacity) {
        *fault = bsw_fault_of(BSW_FAULT_OVERLONG, 0U, receiver->capacity, (len < UINT32_MAX) ? (len + 1U) : len);
        return BSW_FAULT;
    }
    *fault = bsw_decode(receiver->buffer, (size_t)len, message);
    return (fault->kind == BSW_FAULT_NONE) ? BSW_MESSAGE : BSW_FAULT;
}

#endif /* BOLTSCRIBE_WIRE_H */
