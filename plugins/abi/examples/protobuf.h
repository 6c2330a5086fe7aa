/* Just enough of the protobuf wire format to write a plugin in plain C: fields are appended to a
 * buffer, and read one after another. Numbers of fields are those of the .proto files. */
#ifndef GOODWIRE_EXAMPLE_PROTOBUF_H
#define GOODWIRE_EXAMPLE_PROTOBUF_H

#include <stdint.h>
#include <string.h>

#include "goodwire_plugin.h"

/* A message that is being written. What does not fit is left out, and `full` says so. */
typedef struct {
  uint8_t bytes[8192];
  uint64_t byte_count;
  int full;
} pb_message;

static inline gw_bytes pb_bytes(const pb_message *message) {
  gw_bytes bytes = {message->bytes, message->byte_count};
  return bytes;
}

static inline void pb_raw(pb_message *message, const void *bytes, uint64_t byte_count) {
  if (byte_count > sizeof message->bytes - message->byte_count) {
    message->full = 1;
    return;
  }
  memcpy(message->bytes + message->byte_count, bytes, byte_count);
  message->byte_count += byte_count;
}

static inline void pb_varint(pb_message *message, uint64_t value) {
  do {
    uint8_t byte = (uint8_t)((value & 0x7f) | (value > 0x7f ? 0x80 : 0));
    pb_raw(message, &byte, 1);
    value >>= 7;
  } while (value);
}

/* An int32, bool or enum. */
static inline void pb_whole(pb_message *message, uint32_t field, uint64_t value) {
  pb_varint(message, (uint64_t)field << 3);
  pb_varint(message, value);
}

/* A double. */
static inline void pb_double(pb_message *message, uint32_t field, double value) {
  pb_varint(message, (uint64_t)field << 3 | 1);
  pb_raw(message, &value, sizeof value);
}

static inline void pb_block(pb_message *message, uint32_t field, const void *bytes,
                            uint64_t byte_count) {
  pb_varint(message, (uint64_t)field << 3 | 2);
  pb_varint(message, byte_count);
  pb_raw(message, bytes, byte_count);
}

/* A string. */
static inline void pb_text(pb_message *message, uint32_t field, const char *text) {
  pb_block(message, field, text, strlen(text));
}

/* A message within a message. */
static inline void pb_nested(pb_message *message, uint32_t field, const pb_message *nested) {
  pb_block(message, field, nested->bytes, nested->byte_count);
}

/* One field that was read: of its three values, the one of its wire type is set. */
typedef struct {
  uint32_t field;
  uint64_t whole;
  double number;
  gw_bytes bytes;
} pb_field;

static inline int pb_read_varint(gw_bytes *rest, uint64_t *value) {
  *value = 0;
  for (unsigned shift = 0; shift < 64 && rest->byte_count > 0; shift += 7) {
    uint8_t byte = *rest->data++;
    rest->byte_count--;
    *value |= (uint64_t)(byte & 0x7f) << shift;
    if (!(byte & 0x80)) return 1;
  }
  return 0;
}

/* Reads the next field of `rest` and moves on. 0 at the end, and where it cannot be read. */
static inline int pb_next(gw_bytes *rest, pb_field *field) {
  uint64_t tag, byte_count;
  memset(field, 0, sizeof *field);
  if (rest->byte_count == 0 || !pb_read_varint(rest, &tag)) return 0;
  field->field = (uint32_t)(tag >> 3);
  switch (tag & 7) {
  case 0:
    return pb_read_varint(rest, &field->whole);
  case 1:
    byte_count = sizeof field->number;
    break;
  case 2:
    if (!pb_read_varint(rest, &byte_count)) return 0;
    break;
  case 5:
    byte_count = 4;
    break;
  default:
    return 0;
  }
  if (byte_count > rest->byte_count) return 0;
  if ((tag & 7) == 1) memcpy(&field->number, rest->data, sizeof field->number);
  field->bytes.data = rest->data;
  field->bytes.byte_count = byte_count;
  rest->data += byte_count;
  rest->byte_count -= byte_count;
  return 1;
}

static inline int pb_is(gw_bytes bytes, const char *text) {
  return bytes.byte_count == strlen(text) && memcmp(bytes.data, text, bytes.byte_count) == 0;
}

#endif
