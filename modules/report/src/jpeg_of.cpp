#include "jpeg_of.h"

#include <turbojpeg.h>

#include <memory>

namespace tidemark::report {
namespace {

/// Edges of metal stay free of visible ripples; a film of 1,100 x 700 px takes about 150 kB. House
/// choice after looking.
constexpr int kQuality = 85;

}  // namespace

std::vector<unsigned char> jpeg_of(const RasterOf<std::uint8_t>& grey) {
  const auto free_handle = [](void* handle) { (void)tjDestroy(handle); };
  const std::unique_ptr<void, decltype(free_handle)> coder(tjInitCompress(), free_handle);
  if (!coder || grey.empty()) return {};
  std::vector<unsigned char> bytes(tjBufSize(grey.width, grey.height, TJSAMP_GRAY));
  unsigned char* target = bytes.data();
  unsigned long length = bytes.size();
  const int refused =
      tjCompress2(coder.get(), grey.values.data(), grey.width, 0, grey.height, TJPF_GRAY, &target,
                  &length, TJSAMP_GRAY, kQuality, TJFLAG_NOREALLOC | TJFLAG_ACCURATEDCT);
  if (refused != 0) return {};
  bytes.resize(length);
  return bytes;
}

}  // namespace tidemark::report
