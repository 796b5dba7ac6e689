/*
 * A peer for tests: shows what boltscribe_wire.h makes of bytes and of fields, in the words of the vectors.
 *
 *   peer tell [CAPACITY]   reads a stream; for each chunk one line of `key=value` between tabs, as SPEC.md section 10
 *                          names them, with `again=` and the hex of the message encoded anew; a field that is not
 *                          allowed is told by its `offset`
 *   peer encode            reads lines of `key=value` between tabs; answers the hex of each frame, or `refused`
 *   peer send              as encode, but writes the frames themselves, for a line to a device
 *   peer sizes             tells the bytes of the structs
 *
 * With `send` and `tell` it talks to a real board as well (SPEC.md section 12.5). Nothing of this is firmware.
 */
#include "boltscribe_wire.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#define LINE_MAX_BYTES 16384

/* One byte off, so that nothing in the header can lean on alignment. */
static uint8_t storage[1U + BSW_HOST_BUFFER];
static uint8_t out[BSW_FRAME_MAX];
static int32_t counts[BSW_SAMPLES_MAX_24];

static void tell_hex(const uint8_t *bytes, size_t len)
{
    for (size_t i = 0U; i < len; i++) {
        printf("%s%02x", (i == 0U) ? "" : " ", bytes[i]);
    }
}

static void tell_identity(const struct bsw_identity *identity)
{
    const char *gap = "";
    printf("message=identity\tadc_bits=%u\ttime_scale=%u\ttick_rate_hz=%" PRIu32 "\tcount_min=%" PRId32
           "\tcount_max=%" PRId32 "\trates_hz=",
           identity->adc_bits, identity->time_scale, identity->tick_rate_hz, identity->count_min,
           identity->count_max);
    for (size_t i = 0U; (i < BSW_RATES_MAX) && (identity->rates_hz[i] != 0U); i++) {
        printf("%s%" PRIu32, gap, identity->rates_hz[i]);
        gap = " ";
    }
    printf("\tchannels=");
    gap = "";
    for (size_t i = 0U; (i < BSW_CHANNELS_MAX) && (identity->channels[i] != 0U); i++) {
        printf("%s%u", gap, identity->channels[i]);
        gap = " ";
    }
    printf("\tserial=%s\tfirmware=%s", identity->serial, identity->firmware);
}

static void tell_samples(const struct bsw_samples *samples)
{
    printf("message=samples\tsequence=%u\tfirst_tick=%" PRIu32 "\tticks_per_sample=%" PRIu32
           "\tmarks=%u\tpacking=%u\tcount=%u\tcounts=",
           samples->sequence, samples->first_tick, samples->ticks_per_sample, samples->marks, samples->packing,
           samples->count);
    for (size_t i = 0U; i < samples->count; i++) {
        printf("%s%" PRId32, (i == 0U) ? "" : " ", bsw_count_at(samples, i));
    }
}

static void tell_or_none(int32_t value, bool none)
{
    if (none) {
        printf("none");
    } else {
        printf("%" PRId32, value);
    }
}

static void tell_status(const struct bsw_status *status)
{
    printf("message=status\ttick=%" PRIu32 "\tdropped=%" PRIu32 "\tsupply_mV=", status->tick, status->dropped);
    tell_or_none(status->supply_mV, status->supply_mV == BSW_SUPPLY_NONE);
    printf("\ttemperature_centi_c=");
    tell_or_none(status->temperature_centi_c, status->temperature_centi_c == BSW_TEMPERATURE_NONE);
    printf("\tchannel_values=");
    for (size_t i = 0U; i < BSW_CHANNELS_MAX; i++) {
        printf("%s", (i == 0U) ? "" : " ");
        tell_or_none(status->channel_values[i], status->channel_values[i] == BSW_CHANNEL_NONE);
    }
}

static void tell_message(struct bsw_message *message)
{
    struct bsw_fault fault;
    size_t len;
    switch (message->id) {
    case BSW_ID_IDENTITY:
        tell_identity(&message->as.identity);
        break;
    case BSW_ID_SAMPLES:
        tell_samples(&message->as.samples);
        for (size_t i = 0U; i < message->as.samples.count; i++) {
            counts[i] = bsw_count_at(&message->as.samples, i);
        }
        message->as.samples.counts = counts;
        break;
    case BSW_ID_STATUS:
        tell_status(&message->as.status);
        break;
    case BSW_ID_REFUSAL:
        printf("message=refusal\tfault_number=%u\tabout_id=%u\tdetail=%" PRIu32, message->as.refusal.fault,
               message->as.refusal.about_id, message->as.refusal.detail);
        break;
    case BSW_ID_IDENTIFY:
        printf("message=identify");
        break;
    case BSW_ID_START:
        printf("message=start\trate_hz=%" PRIu32, message->as.start.rate_hz);
        break;
    case BSW_ID_STOP:
        printf("message=stop");
        break;
    case BSW_ID_POLL_STATUS:
        printf("message=poll-status");
        break;
    default:
        printf("message=%u", message->id);
        break;
    }
    len = bsw_encode(message, out, sizeof out, &fault);
    printf("\tagain=");
    tell_hex(out, len);
}

static void tell_fault(const struct bsw_fault *fault)
{
    static const char *const names[] = {"none",    "overlong",        "empty",  "too-long", "cobs",         "too-short", "crc",
                                        "version", "unknown-message", "length", "value",    "out-too-small"};
    printf("fault=%s", names[fault->kind]);
    switch (fault->kind) {
    case BSW_FAULT_CRC:
        printf("\texpected=%" PRIu32 "\tfound=%" PRIu32, fault->expected, fault->found);
        break;
    case BSW_FAULT_LENGTH:
        printf("\tabout=%u\texpected=%" PRIu32 "\tfound=%" PRIu32, fault->about_id, fault->expected, fault->found);
        break;
    case BSW_FAULT_VERSION:
    case BSW_FAULT_UNKNOWN_MESSAGE:
    case BSW_FAULT_OVERLONG:
        printf("\tfound=%" PRIu32, fault->found);
        break;
    case BSW_FAULT_VALUE:
        printf("\tabout=%u\toffset=%u", fault->about_id, fault->offset);
        break;
    default:
        break;
    }
}

static int tell(uint16_t capacity)
{
    struct bsw_receiver receiver;
    struct bsw_message message;
    struct bsw_fault fault;
    int byte;
    bsw_receiver_init(&receiver, &storage[1], capacity);
    while ((byte = getchar()) != EOF) {
        switch (bsw_receive(&receiver, (uint8_t)byte, &message, &fault)) {
        case BSW_MESSAGE:
            tell_message(&message);
            printf("\n");
            break;
        case BSW_FAULT:
            tell_fault(&fault);
            printf("\n");
            break;
        default:
            break;
        }
    }
    return 0;
}

/* The value of a key on a line whose tabs were made ends; NULL where the key is not there. */
static const char *value_of(const char *line, size_t len, const char *key)
{
    const size_t key_len = strlen(key);
    for (size_t at = 0U; at < len; at += strlen(&line[at]) + 1U) {
        if ((strncmp(&line[at], key, key_len) == 0) && (line[at + key_len] == '=')) {
            return &line[at + key_len + 1U];
        }
    }
    return NULL;
}

struct fields {
    const char *line;
    size_t len;
    const char *missing;
};

static const char *text_of(struct fields *fields, const char *key)
{
    const char *value = value_of(fields->line, fields->len, key);
    if (value == NULL) {
        fields->missing = key;
        return "";
    }
    return value;
}

static long long number_of(struct fields *fields, const char *key)
{
    return strtoll(text_of(fields, key), NULL, 10);
}

/* Numbers between spaces; `none` gives the stand-in. */
static size_t list_of(struct fields *fields, const char *key, int64_t none, int64_t *list, size_t most)
{
    const char *at = text_of(fields, key);
    size_t found = 0U;
    while ((*at != '\0') && (found < most)) {
        char *end = NULL;
        list[found] = (strncmp(at, "none", 4U) == 0) ? none : strtoll(at, &end, 10);
        at = (end == NULL) ? (at + 4) : end;
        at += (*at == ' ') ? 1 : 0;
        found++;
    }
    return found;
}

static void take_identity(struct fields *fields, struct bsw_identity *identity)
{
    int64_t list[BSW_RATES_MAX];
    size_t found;
    (void)memset(identity, 0, sizeof *identity);
    identity->adc_bits = (uint8_t)number_of(fields, "adc_bits");
    identity->time_scale = (uint16_t)number_of(fields, "time_scale");
    identity->tick_rate_hz = (uint32_t)number_of(fields, "tick_rate_hz");
    identity->count_min = (int32_t)number_of(fields, "count_min");
    identity->count_max = (int32_t)number_of(fields, "count_max");
    found = list_of(fields, "rates_hz", 0, list, BSW_RATES_MAX);
    for (size_t i = 0U; i < found; i++) {
        identity->rates_hz[i] = (uint32_t)list[i];
    }
    found = list_of(fields, "channels", 0, list, BSW_CHANNELS_MAX);
    for (size_t i = 0U; i < found; i++) {
        identity->channels[i] = (uint8_t)list[i];
    }
    (void)strncpy(identity->serial, text_of(fields, "serial"), BSW_TEXT_MAX);
    (void)strncpy(identity->firmware, text_of(fields, "firmware"), BSW_TEXT_MAX);
}

static void take_samples(struct fields *fields, struct bsw_samples *samples)
{
    static int64_t list[BSW_SAMPLES_MAX_24];
    const size_t found = list_of(fields, "counts", 0, list, BSW_SAMPLES_MAX_24);
    for (size_t i = 0U; i < found; i++) {
        counts[i] = (int32_t)list[i];
    }
    samples->sequence = (uint16_t)number_of(fields, "sequence");
    samples->first_tick = (uint32_t)number_of(fields, "first_tick");
    samples->ticks_per_sample = (uint32_t)number_of(fields, "ticks_per_sample");
    samples->marks = (uint8_t)number_of(fields, "marks");
    samples->packing = (uint8_t)number_of(fields, "packing");
    samples->count = (uint16_t)number_of(fields, "count");
    samples->counts = counts;
    samples->packed = NULL;
    if (found != samples->count) {
        fields->missing = "counts";
    }
}

static void take_status(struct fields *fields, struct bsw_status *status)
{
    int64_t list[BSW_CHANNELS_MAX] = {0};
    status->tick = (uint32_t)number_of(fields, "tick");
    status->dropped = (uint32_t)number_of(fields, "dropped");
    (void)list_of(fields, "supply_mV", BSW_SUPPLY_NONE, list, 1U);
    status->supply_mV = (uint16_t)list[0];
    (void)list_of(fields, "temperature_centi_c", BSW_TEMPERATURE_NONE, list, 1U);
    status->temperature_centi_c = (int16_t)list[0];
    (void)list_of(fields, "channel_values", BSW_CHANNEL_NONE, list, BSW_CHANNELS_MAX);
    for (size_t i = 0U; i < BSW_CHANNELS_MAX; i++) {
        status->channel_values[i] = (int32_t)list[i];
    }
}

static void take(struct fields *fields, struct bsw_message *message)
{
    const char *name = text_of(fields, "message");
    message->id = 0U;
    if (strcmp(name, "identity") == 0) {
        message->id = BSW_ID_IDENTITY;
        take_identity(fields, &message->as.identity);
    } else if (strcmp(name, "samples") == 0) {
        message->id = BSW_ID_SAMPLES;
        take_samples(fields, &message->as.samples);
    } else if (strcmp(name, "status") == 0) {
        message->id = BSW_ID_STATUS;
        take_status(fields, &message->as.status);
    } else if (strcmp(name, "refusal") == 0) {
        message->id = BSW_ID_REFUSAL;
        message->as.refusal.fault = (uint16_t)number_of(fields, "fault_number");
        message->as.refusal.about_id = (uint8_t)number_of(fields, "about_id");
        message->as.refusal.detail = (uint32_t)number_of(fields, "detail");
    } else if (strcmp(name, "start") == 0) {
        message->id = BSW_ID_START;
        message->as.start.rate_hz = (uint32_t)number_of(fields, "rate_hz");
    } else if (strcmp(name, "identify") == 0) {
        message->id = BSW_ID_IDENTIFY;
    } else if (strcmp(name, "stop") == 0) {
        message->id = BSW_ID_STOP;
    } else if (strcmp(name, "poll-status") == 0) {
        message->id = BSW_ID_POLL_STATUS;
    }
}

static int encode(bool as_hex)
{
    static char line[LINE_MAX_BYTES + 2];
    struct bsw_message message;
    struct bsw_fault fault;
    while (fgets(line, (int)sizeof line, stdin) != NULL) {
        struct fields fields = {line, strcspn(line, "\n"), NULL};
        size_t len;
        line[fields.len] = '\0';
        for (size_t i = 0U; i < fields.len; i++) {
            line[i] = (line[i] == '\t') ? '\0' : line[i];
        }
        take(&fields, &message);
        if (fields.missing != NULL) {
            fprintf(stderr, "peer encode: field %s is missing\n", fields.missing);
            return 2;
        }
        len = bsw_encode(&message, out, sizeof out, &fault);
        if (!as_hex) {
            (void)fwrite(out, 1U, len, stdout);
            (void)fflush(stdout);
        } else if (len != 0U) {
            tell_hex(out, len);
            printf("\n");
        } else {
            printf("refused ");
            tell_fault(&fault);
            printf("\n");
        }
    }
    return 0;
}

static int sizes(void)
{
    printf("receive buffer of a device\t%u\n", BSW_DEVICE_BUFFER);
    printf("frame of 128 samples at 24 bits\t%u\n", BSW_FRAME_LEN(BSW_SAMPLES_BODY(128U, 24U)));
    printf("longest frame\t%u\n", BSW_FRAME_MAX);
    printf("`struct bsw_receiver`\t%zu\n", sizeof(struct bsw_receiver));
    printf("`struct bsw_message` on a host\t%zu\n", sizeof(struct bsw_message));
    printf("`struct bsw_identity`\t%zu\n", sizeof(struct bsw_identity));
    printf("`struct bsw_samples`\t%zu\n", sizeof(struct bsw_samples));
    printf("`struct bsw_status`\t%zu\n", sizeof(struct bsw_status));
    printf("`struct bsw_fault`\t%zu\n", sizeof(struct bsw_fault));
    printf("`struct bsw_writer`\t%zu\n", sizeof(struct bsw_writer));
    return 0;
}

int main(int argc, char **argv)
{
    const char *mode = (argc > 1) ? argv[1] : "";
    if (strcmp(mode, "tell") == 0) {
        const unsigned long asked = (argc > 2) ? strtoul(argv[2], NULL, 10) : BSW_HOST_BUFFER;
        return tell((uint16_t)((asked < BSW_HOST_BUFFER) ? asked : BSW_HOST_BUFFER));
    }
    if (strcmp(mode, "encode") == 0) {
        return encode(true);
    }
    if (strcmp(mode, "send") == 0) {
        return encode(false);
    }
    if (strcmp(mode, "sizes") == 0) {
        return sizes();
    }
    fprintf(stderr, "peer: expected tell, encode, send or sizes, found '%s'\n", mode);
    return 2;
}
