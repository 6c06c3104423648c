// Prints what film::read and film::read_stored make of files, for comparison with other readers.
// usage: film_dump stored|view|facts FILE...
//   stored, view: "OK columns rows" and the pixels as raw little-endian int32 or float32 follow
//   facts: one line a file: OK and a summary, or the sentence of the refusal. Exit 0 always.

#include <chrono>
#include <cstdio>
#include <cstring>
#include <string>

#include "tidemark/film/calibration.h"
#include "tidemark/film/film.h"
#include "tidemark/film/stored.h"

namespace {

template <class Pixels>
void dump(const Pixels& image) {
  std::printf("OK %d %d\n", image.width, image.height);
  std::fwrite(image.values.data(), sizeof(image.values[0]), image.values.size(), stdout);
}

void facts(const char* path) {
  const auto start = std::chrono::steady_clock::now();
  const auto film = tidemark::film::read(path);
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
  if (!film) {
    std::printf("REFUSED %s\n", film.error().sentence().c_str());
    return;
  }
  const auto& f = film->facts;
  std::printf("OK %s %s %s %dx%d of %dx%d bits %d in %.0f ms", f.file.c_str(), f.format.c_str(),
              f.modality.c_str(), film->pixels.width, film->pixels.height, f.stored_columns,
              f.stored_rows, f.bits_stored, 1000.0 * took.count());
  for (const auto& note : f.notes) std::printf(" | %s", note.c_str());
  std::printf("\n");
}

}  // namespace

int main(int argc, char** argv) {
  const std::string what = argc > 1 ? argv[1] : "";
  for (int i = 2; i < argc; ++i) {
    if (what == "facts") facts(argv[i]);
    if (what == "stored") {
      const auto film = tidemark::film::read_stored(argv[i]);
      if (film) dump(film->values);
      if (!film) std::printf("REFUSED %s\n", film.error().sentence().c_str());
    }
    if (what == "view") {
      const auto film = tidemark::film::read(argv[i]);
      if (film) dump(film->pixels);
      if (!film) std::printf("REFUSED %s\n", film.error().sentence().c_str());
    }
  }
}
