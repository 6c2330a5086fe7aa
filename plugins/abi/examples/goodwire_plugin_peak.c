/* The analysis `peak`, a whole plugin in plain C: plays a tone of one second, says how loud the
 * link gave it back, how many frames were lost on the way, and where somebody set a mark.
 *
 *   cc -std=c11 -shared -fPIC -I plugins/abi/include plugins/abi/examples/goodwire_plugin_peak.c \
 *      -lm -o libgoodwire_plugin_peak.so */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "protobuf.h"

#define TONE_HZ 997.0

struct gw_session {
  int32_t rate_hz;
  double level_dbfs;
  float peak;
  double lost_frames;
  pb_message events; /* fields of the result, written as the marks come */
  pb_message reply;
  char error[128];
};

/* What describe() and open() hand out. */
static pb_message outside;
static char outside_error[128];

static gw_bytes text_bytes(const char *text) {
  gw_bytes bytes = {(const uint8_t *)text, strlen(text)};
  return bytes;
}

static gw_status describe(gw_bytes *description) {
  pb_message value = {0}, parameter = {0}, analysis = {0};
  pb_double(&value, 2, -30.0); /* Value.number_value */

  pb_text(&parameter, 1, "level_dbfs");
  pb_whole(&parameter, 2, 1); /* NUMBER */
  pb_text(&parameter, 3, "dBFS");
  pb_text(&parameter, 4, "Peak of the tone.");
  pb_nested(&parameter, 5, &value);
  pb_double(&parameter, 6, -80.0);
  pb_double(&parameter, 7, 0.0);
  pb_whole(&parameter, 10, 1); /* level */

  pb_text(&analysis, 1, "peak");
  pb_text(&analysis, 2, "Peak");
  pb_text(&analysis, 3, "Says how loud a tone of 997 Hz comes back.");
  pb_nested(&analysis, 4, &parameter);
  pb_whole(&analysis, 5, 1); /* plays */

  memset(&outside, 0, sizeof outside);
  pb_text(&outside, 1, "peak");
  pb_text(&outside, 2, "1.0.0");
  pb_nested(&outside, 3, &analysis);
  *description = pb_bytes(&outside);
  return GW_OK;
}

/* The number that stands under `name` in a google.protobuf.Struct. */
static double number_of(gw_bytes structure, const char *name, double otherwise) {
  pb_field entry, part, value;
  while (pb_next(&structure, &entry)) {
    int named = 0;
    while (pb_next(&entry.bytes, &part)) {
      if (part.field == 1) named = pb_is(part.bytes, name);
      if (part.field == 2 && named && pb_next(&part.bytes, &value) && value.field == 2)
        return value.number;
    }
  }
  return otherwise;
}

static gw_status open_session(gw_bytes request, gw_session **session, gw_bytes *violations) {
  (void)violations;
  gw_session *self = calloc(1, sizeof *self);
  if (!self) {
    snprintf(outside_error, sizeof outside_error, "no-memory: there is no memory left");
    return GW_FAILED;
  }
  self->level_dbfs = -30.0;
  pb_field field;
  while (pb_next(&request, &field)) {
    if (field.field == 2) self->level_dbfs = number_of(field.bytes, "level_dbfs", -30.0);
    if (field.field == 4) self->rate_hz = (int32_t)field.whole;
  }
  *session = self;
  return GW_OK;
}

static gw_status plan(gw_session *self, gw_bytes *plan) {
  pb_message capture = {0}, step = {0};
  pb_whole(&capture, 1, 1); /* LINK */
  pb_whole(&step, 1, (uint64_t)self->rate_hz);
  pb_whole(&step, 2, (uint64_t)self->rate_hz / 10);
  pb_whole(&step, 3, 1); /* one repeat */
  pb_double(&step, 4, self->level_dbfs);
  pb_whole(&step, 5, 1); /* RETRY: a repeat with lost frames is played again */
  memset(&self->reply, 0, sizeof self->reply);
  pb_nested(&self->reply, 1, &capture);
  pb_nested(&self->reply, 2, &step);
  *plan = pb_bytes(&self->reply);
  return GW_OK;
}

static gw_status render(gw_session *self, uint32_t step, uint64_t first_frame, uint32_t frame_count,
                        float *samples) {
  (void)step;
  double amplitude = pow(10.0, self->level_dbfs / 20.0);
  for (uint32_t i = 0; i < frame_count; i++) {
    uint64_t frame = first_frame + i;
    double turns = fmod(TONE_HZ * (double)frame / self->rate_hz, 1.0);
    int past_the_end = frame >= (uint64_t)self->rate_hz;
    samples[i] = past_the_end ? 0.0f : (float)(amplitude * sin(6.283185307179586 * turns));
  }
  return GW_OK;
}

static gw_status begin(gw_session *self, uint32_t step, uint32_t repeat, int32_t retry) {
  (void)step, (void)repeat, (void)retry;
  self->peak = 0.0f;
  return GW_OK;
}

static gw_status feed(gw_session *self, const gw_block *block) {
  const float *link = block->channels[0];
  for (uint32_t i = 0; link && i < block->frame_count; i++)
    if (fabsf(link[i]) > self->peak) self->peak = fabsf(link[i]);
  return GW_OK;
}

static gw_status note(gw_session *self, gw_bytes note) {
  pb_field field, part;
  gw_bytes label = {0, 0};
  int is_mark = 0;
  double at_frame = 0.0;
  while (pb_next(&note, &field)) {
    if (field.field == 1) /* LostFrames */
      while (pb_next(&field.bytes, &part)) self->lost_frames += part.number;
    if (field.field == 2) { /* Mark */
      is_mark = 1;
      while (pb_next(&field.bytes, &part))
        if (part.field == 2) label = part.bytes;
    }
    if (field.field == 3) at_frame = field.number;
  }
  if (is_mark) {
    pb_message event = {0};
    pb_text(&event, 1, "mark");
    pb_double(&event, 2, at_frame / self->rate_hz);
    pb_block(&event, 5, label.data, label.byte_count);
    pb_nested(&self->events, 3, &event);
  }
  return GW_OK;
}

static void figure(pb_message *message, uint32_t field, const char *id, double value,
                   const char *unit) {
  pb_message figure = {0};
  pb_text(&figure, 1, id);
  pb_double(&figure, 2, value);
  pb_text(&figure, 6, unit);
  pb_nested(message, field, &figure);
}

static gw_status readings(gw_session *self, gw_bytes *readings) {
  memset(&self->reply, 0, sizeof self->reply);
  if (self->peak > 0.0f) figure(&self->reply, 1, "peak", 20.0 * log10(self->peak), "dBFS");
  *readings = pb_bytes(&self->reply);
  return GW_OK;
}

static gw_status finish(gw_session *self, int32_t ended_early, gw_bytes *result) {
  (void)ended_early;
  if (!(self->peak > 0.0f)) {
    snprintf(self->error, sizeof self->error, "no-signal: the link returned silence");
    return GW_FAILED;
  }
  memset(&self->reply, 0, sizeof self->reply);
  figure(&self->reply, 1, "peak", 20.0 * log10(self->peak), "dBFS");
  figure(&self->reply, 1, "lost_frames", self->lost_frames, "");
  pb_raw(&self->reply, self->events.bytes, self->events.byte_count);
  *result = pb_bytes(&self->reply);
  return GW_OK;
}

static gw_bytes error(gw_session *self) { return text_bytes(self ? self->error : outside_error); }

static void close_session(gw_session *self) { free(self); }

static const gw_plugin table = {
    GW_ABI_MAJOR, GW_ABI_MINOR, describe, open_session, plan,          render, begin, feed,
    note,         readings,     finish,   error,        close_session, NULL};

GW_EXPORT const gw_plugin *goodwire_plugin(uint32_t host_major, uint32_t host_minor) {
  (void)host_minor;
  return host_major == GW_ABI_MAJOR ? &table : NULL;
}
