/*
 * What firmware uses of boltscribe_wire.h, as one object: README.md says how large it is.
 *
 * The functions of the header have internal linkage, so a unit that only includes it is empty. These wrappers keep
 * all that a device calls, and nothing of the host's side.
 */
#define BSW_HOST_SIDE 0
#include "boltscribe_wire.h"

size_t device_identity(const struct bsw_identity *identity, uint8_t *out, size_t capacity, struct bsw_fault *fault);
size_t device_samples(const struct bsw_samples *samples, uint8_t *out, size_t capacity, struct bsw_fault *fault);
size_t device_status(const struct bsw_status *status, uint8_t *out, size_t capacity, struct bsw_fault *fault);
size_t device_refusal(const struct bsw_refusal *refusal, uint8_t *out, size_t capacity, struct bsw_fault *fault);
enum bsw_received device_receive(struct bsw_receiver *receiver, uint8_t byte, struct bsw_message *message,
                                 struct bsw_fault *fault);
bool device_refuses(const struct bsw_fault *fault, struct bsw_refusal *refusal);
bool device_offers(const struct bsw_identity *identity, uint32_t rate_hz);

/* Bytes of RAM, to be read from the symbol's size: a message and a receiver as a device has them. */
struct bsw_message device_message;
struct bsw_receiver device_receiver;

size_t device_identity(const struct bsw_identity *identity, uint8_t *out, size_t capacity, struct bsw_fault *fault)
{
    return bsw_encode_identity(identity, out, capacity, fault);
}

size_t device_samples(const struct bsw_samples *samples, uint8_t *out, size_t capacity, struct bsw_fault *fault)
{
    return bsw_encode_samples(samples, out, capacity, fault);
}

size_t device_status(const struct bsw_status *status, uint8_t *out, size_t capacity, struct bsw_fault *fault)
{
    return bsw_encode_status(status, out, capacity, fault);
}

size_t device_refusal(const struct bsw_refusal *refusal, uint8_t *out, size_t capacity, struct bsw_fault *fault)
{
    return bsw_encode_refusal(refusal, out, capacity, fault);
}

enum bsw_received device_receive(struct bsw_receiver *receiver, uint8_t byte, struct bsw_message *message,
                                 struct bsw_fault *fault)
{
    return bsw_receive(receiver, byte, message, fault);
}

bool device_refuses(const struct bsw_fault *fault, struct bsw_refusal *refusal)
{
    return bsw_refusal_for(fault, refusal);
}

bool device_offers(const struct bsw_identity *identity, uint32_t rate_hz)
{
    return bsw_offers(identity, rate_hz);
}
