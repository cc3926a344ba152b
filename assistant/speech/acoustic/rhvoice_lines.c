/* Says lines with a library of RHVoice 1.2 or later, found at run time.

   In: OUT, TEXT, PROFILE, RATE, PITCH, apart by tabs; rate and pitch are 1 for the usual.
   Out: "ok", or what went wrong. OUT becomes a mono WAV of 16 bits.
   Run it as: rhvoice_lines LIBRARY DATA CONFIG

   Linux:   cc -o rhvoice_lines rhvoice_lines.c -ldl
   Windows: x86_64-w64-mingw32-gcc -o rhvoice_lines.exe rhvoice_lines.c */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#ifdef _WIN32
#include <windows.h>
#define OPEN(path) ((void *)LoadLibraryA(path))
#define FIND(lib, name) ((void *)GetProcAddress((HMODULE)(lib), name))
#else
#include <dlfcn.h>
#define OPEN(path) dlopen(path, RTLD_NOW)
#define FIND(lib, name) dlsym(lib, name)
#endif

typedef int (*place)(unsigned, unsigned, void *);

struct hooks {
  int (*rate)(int, void *);
  int (*samples)(const int16_t *, unsigned, void *);
  int (*mark)(const char *, void *);
  place word_starts, word_ends, sentence_starts, sentence_ends;
  int (*sound)(const char *, void *);
  void (*done)(void *);
};
struct start {
  const char *data, *config, **more;
  struct hooks hooks;
  unsigned options;
};
struct manner {
  const char *profile;
  double absolute[3], relative[3]; /* rate, pitch, loudness */
  int punctuation;
  const char *signs;
  int capitals, flags;
};

static int16_t *kept;
static size_t count, room;
static int rate;

static int on_rate(int given, void *user) { return rate = given, (void)user, 1; }
static void on_done(void *user) { (void)user; }

static int on_samples(const int16_t *samples, unsigned n, void *user) {
  (void)user;
  if (count + n > room) {
    room = 2 * (count + n);
    kept = realloc(kept, room * sizeof *kept);
    if (!kept) abort();
  }
  memcpy(kept + count, samples, n * sizeof *kept);
  count += n;
  return 1;
}

static int write_wav(const char *path) {
  FILE *out = fopen(path, "wb");
  uint32_t bytes = (uint32_t)(count * 2), whole = bytes + 36, size = 16, pace = rate, flow = rate * 2;
  uint16_t pcm = 1, channels = 1, block = 2, bits = 16;
  if (!out) return 0;
  fwrite("RIFF", 1, 4, out), fwrite(&whole, 4, 1, out), fwrite("WAVEfmt ", 1, 8, out);
  fwrite(&size, 4, 1, out), fwrite(&pcm, 2, 1, out), fwrite(&channels, 2, 1, out);
  fwrite(&pace, 4, 1, out), fwrite(&flow, 4, 1, out), fwrite(&block, 2, 1, out);
  fwrite(&bits, 2, 1, out), fwrite("data", 1, 4, out), fwrite(&bytes, 4, 1, out);
  fwrite(kept, 2, count, out);
  return fclose(out) == 0;
}

int main(int argc, char **argv) {
  static char line[8192];
  void *lib = argc == 4 ? OPEN(argv[1]) : NULL;
  if (!lib) return fprintf(stderr, "rhvoice_lines LIBRARY DATA CONFIG\n"), 2;
  void *(*engine_of)(const struct start *) = FIND(lib, "RHVoice_new_tts_engine");
  void *(*message_of)(void *, const char *, unsigned, int, const struct manner *, void *) =
      FIND(lib, "RHVoice_new_message");
  int (*speak)(void *) = FIND(lib, "RHVoice_speak");
  void (*forget)(void *) = FIND(lib, "RHVoice_delete_message");
  if (!engine_of || !message_of || !speak || !forget) return fprintf(stderr, "other library\n"), 2;
  struct start start = {argv[2], argv[3], NULL, {on_rate, on_samples}, 0};
  start.hooks.done = on_done;
  void *engine = engine_of(&start);
  if (!engine) return fprintf(stderr, "no voices in %s\n", argv[2]), 2;
  while (fgets(line, sizeof line, stdin)) {
    char *part[5], *at = line;
    int parts = 0;
    line[strcspn(line, "\r\n")] = 0;
    for (; parts < 5 && at; parts++) {
      part[parts] = at;
      if ((at = strchr(at, '\t'))) *at++ = 0;
    }
    void *message = NULL;
    count = 0;
    if (parts == 5) {
      struct manner manner = {part[2], {0, 0, 0}, {atof(part[3]), atof(part[4]), 1}, 1, NULL, 1, 0};
      message = message_of(engine, part[1], (unsigned)strlen(part[1]), 0, &manner, NULL);
    }
    if (message) speak(message), forget(message);
    puts(message && count && write_wav(part[0]) ? "ok" : "not said");
    fflush(stdout);
  }
  return 0;
}
