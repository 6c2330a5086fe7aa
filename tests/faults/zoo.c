/* A zoo of bad plugins in one library: each analysis misbehaves in its own way. Built by
 * plugin_faults.rs; -DBAD_ENTRY=n makes libraries that are bad before any session. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "../../plugins/abi/examples/protobuf.h"

static const char *const ANALYSES[] = {
    "good",          "segfault",     "abort",        "exit-zero",      "stack-overflow",
    "divide",        "loop",         "sleep",        "endless-output", "loud-output",
    "read-input",    "allocate",     "close-all",    "forge",          "forks",
    "fork-and-die",  "broken",       "failed",       "wordless",       "invalid",
    "invalid-none",  "no-session",   "garbage-plan", "loud-plan",      "garbage-result",
    "null-bytes",    "huge-length",  "lying-length", "odd-status",     "nan-figure",
    "falling-curve", "lost-values",  "odd-unit",     "too-loud",       "nan-samples",
    "close-hangs",   "descriptors",  "stop-itself",  "ignore-term",  "enough-to-plan", "die-in-finish"};

struct gw_session {
  const char *kind;
  pb_message reply;
};

static pb_message outside;
static int is(const gw_session *self, const char *kind) { return strcmp(self->kind, kind) == 0; }

static gw_status describe(gw_bytes *description) {
  memset(&outside, 0, sizeof outside);
  pb_text(&outside, 1, "zoo");
  pb_text(&outside, 2, "0.6.6");
  for (size_t i = 0; i < sizeof ANALYSES / sizeof *ANALYSES; i++) {
    pb_message analysis = {0};
    pb_text(&analysis, 1, ANALYSES[i]);
    pb_text(&analysis, 2, ANALYSES[i]);
    pb_text(&analysis, 3, "Misbehaves.");
    pb_whole(&analysis, 5, 1);
    pb_nested(&outside, 3, &analysis);
  }
  *description = pb_bytes(&outside);
#if BAD_ENTRY == 1
  for (;;) pause(); /* hangs in describe */
#elif BAD_ENTRY == 2
  abort();
#elif BAD_ENTRY == 3
  description->byte_count = 7; /* half a message */
#endif
  return GW_OK;
}

static gw_status open_session(gw_bytes request, gw_session **session, gw_bytes *violations) {
  static gw_session only;
  pb_field field;
  while (pb_next(&request, &field))
    for (size_t i = 0; field.field == 1 && i < sizeof ANALYSES / sizeof *ANALYSES; i++)
      if (pb_is(field.bytes, ANALYSES[i])) only.kind = ANALYSES[i];
  memset(&outside, 0, sizeof outside);
  if (is(&only, "invalid")) {
    pb_message violation = {0};
    pb_text(&violation, 1, "stop_hz");
    pb_text(&violation, 2, "30000 Hz is above half the rate; 24000 Hz is the most");
    pb_nested(&outside, 1, &violation);
    *violations = pb_bytes(&outside);
    return GW_INVALID;
  }
  if (is(&only, "invalid-none")) return GW_INVALID;
  if (is(&only, "no-session")) return GW_OK;
  if (is(&only, "ignore-term")) signal(SIGTERM, SIG_IGN);
  *session = &only;
  return GW_OK;
}

static gw_status plan(gw_session *self, gw_bytes *plan) {
  pb_message capture = {0}, step = {0};
  if (is(self, "enough-to-plan")) return GW_ENOUGH;
  pb_whole(&capture, 1, 1);
  pb_whole(&step, 1, 4800);
  pb_whole(&step, 3, 1);
  pb_double(&step, 4, is(self, "loud-plan") ? 0.0 : -40.0);
  pb_whole(&step, 5, 1);
  memset(&self->reply, 0, sizeof self->reply);
  pb_nested(&self->reply, 1, &capture);
  pb_nested(&self->reply, 2, &step);
  if (is(self, "garbage-plan")) memset(self->reply.bytes, 0xff, self->reply.byte_count);
  *plan = pb_bytes(&self->reply);
  if (is(self, "null-bytes")) plan->data = NULL;
  if (is(self, "huge-length")) plan->byte_count = UINT64_MAX;
  if (is(self, "lying-length")) plan->byte_count = 60u << 20;
  if (is(self, "odd-status")) return 77;
  return GW_OK;
}

static gw_status render(gw_session *self, uint32_t step, uint64_t first_frame, uint32_t frame_count,
                        float *samples) {
  (void)step, (void)first_frame;
  for (uint32_t i = 0; i < frame_count; i++)
    samples[i] = is(self, "nan-samples") ? NAN : is(self, "too-loud") ? 0.5f : 0.01f;
  return GW_OK;
}

static gw_status begin(gw_session *self, uint32_t step, uint32_t repeat, int32_t retry) {
  (void)self, (void)step, (void)repeat, (void)retry;
  return GW_OK;
}

static int overflow(volatile int depth) { /* never ends */
  volatile char page[4096];
  page[0] = (char)depth;
  return overflow(depth + 1) + page[0];
}

/* Children that would outlive their parent. */
static void leave_children(int count) {
  for (int i = 0; i < count; i++)
    if (fork() == 0)
      for (;;) pause();
}

static gw_status feed(gw_session *self, const gw_block *block) {
  static volatile int zero;
  (void)block;
  if (is(self, "segfault")) *(volatile int *)8 = 1;
  if (is(self, "abort")) {
    fprintf(stderr, "first line\nsecond line\nthe reason why it aborts\n");
    abort();
  }
  if (is(self, "exit-zero")) exit(0);
  if (is(self, "stack-overflow")) return overflow(0);
  if (is(self, "divide")) zero = 1000 / zero;
  if (is(self, "stop-itself")) raise(SIGSTOP);
  if (is(self, "loop"))
    for (;;) zero++;
  if (is(self, "sleep") || is(self, "ignore-term"))
    for (;;) pause();
  if (is(self, "endless-output"))
    for (;;) printf("all work and no play\n");
  if (is(self, "loud-output")) {
    for (int i = 0; i < 200000; i++) printf("ten megabytes of nothing that anybody should read\n");
    fflush(stdout);
  }
  if (is(self, "read-input")) {
    char one;
    if (read(0, &one, 1) != 0) abort(); /* standard input is at its end */
  }
  if (is(self, "descriptors")) { /* the two of the protocol, and no child would inherit them */
    int count = 0;
    for (int i = 3; i < 1024; i++) {
      int flags = fcntl(i, F_GETFD);
      count += flags >= 0;
      if (flags >= 0 && !(flags & FD_CLOEXEC)) abort();
    }
    if (count != 2) abort();
  }
  if (is(self, "allocate")) {
    size_t byte_count = (size_t)10 << 30;
    char *bytes = malloc(byte_count);
    for (size_t i = 0; i < byte_count; i += 4096) ((volatile char *)bytes)[i] = 1;
  }
  if (is(self, "close-all"))
    for (int i = 0; i < 1024; i++) close(i);
  if (is(self, "forge")) /* writes nonsense wherever it can */
    for (int i = 3; i < 16; i++)
      if (write(i, "nonsense nonsense nonsense", 26) < 0) continue;
  if (is(self, "forks")) leave_children(20);
  if (is(self, "fork-and-die")) {
    leave_children(20);
    abort();
  }
  if (is(self, "broken")) return GW_BROKEN;
  if (is(self, "failed") || is(self, "wordless")) return GW_FAILED;
  return GW_OK;
}

static gw_status finish(gw_session *self, int32_t ended_early, gw_bytes *result) {
  pb_message figure = {0}, curve = {0};
  double falling[2] = {2.0, 1.0};
  (void)ended_early;
  if (is(self, "die-in-finish")) kill(getpid(), SIGKILL);
  pb_text(&figure, 1, "gain");
  pb_double(&figure, 2, is(self, "nan-figure") ? NAN : -0.25);
  pb_text(&figure, 6, is(self, "odd-unit") ? "parsec" : "dB");
  pb_text(&curve, 1, "magnitude");
  pb_text(&curve, 2, "Hz");
  pb_text(&curve, 3, "dB");
  pb_block(&curve, 4, falling, sizeof falling);
  pb_block(&curve, 5, falling, is(self, "lost-values") ? sizeof *falling : sizeof falling);
  memset(&self->reply, 0, sizeof self->reply);
  pb_nested(&self->reply, 1, &figure);
  if (is(self, "falling-curve") || is(self, "lost-values")) pb_nested(&self->reply, 2, &curve);
  if (is(self, "garbage-result")) memset(self->reply.bytes, 0xff, self->reply.byte_count);
  *result = pb_bytes(&self->reply);
  return GW_OK;
}

static gw_bytes error(gw_session *self) {
  const char *text = "";
  if (self && is(self, "failed")) text = "no-signal: the link returned silence";
  if (self && is(self, "broken")) text = "a table is upside down";
  gw_bytes bytes = {(const uint8_t *)text, strlen(text)};
  return bytes;
}

static void close_session(gw_session *self) {
  if (is(self, "close-hangs"))
    for (;;) pause();
}

#if BAD_ENTRY == 4
__attribute__((constructor)) static void crash_when_loaded(void) { abort(); }
#elif BAD_ENTRY == 5
__attribute__((constructor)) static void hang_when_loaded(void) {
  for (;;) pause();
}
#endif

static const gw_plugin table = {
#if BAD_ENTRY == 6
    GW_ABI_MAJOR + 1,
#else
    GW_ABI_MAJOR,
#endif
    GW_ABI_MINOR,
#if BAD_ENTRY == 7
    NULL,
#else
    describe,
#endif
    open_session,  plan,  render, begin, feed, NULL, NULL, finish, error, close_session, NULL};

#if BAD_ENTRY != 8
GW_EXPORT const gw_plugin *goodwire_plugin(uint32_t host_major, uint32_t host_minor) {
  (void)host_major, (void)host_minor;
#if BAD_ENTRY == 9
  return NULL;
#endif
  return &table;
}
#else
const gw_plugin *unused_table = &table;
#endif
