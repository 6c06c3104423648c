// jpeglib.h uses FILE and size_t without including anything.
// clang-format off
#include <cstddef>
#include <cstdio>
#include <jpeglib.h>
// clang-format on

#include <csetjmp>

#include "picture_samples.h"

namespace tidemark::film {
namespace {

/// libjpeg with errors as long jumps, so only plain functions stand between. Both bases come first,
/// because libjpeg hands back pointers to them.
struct Errors {
  jpeg_error_mgr base;
  std::jmp_buf back;
};

[[noreturn]] void on_error(j_common_ptr common) {
  std::longjmp(reinterpret_cast<Errors*>(common->err)->back, 1);
}
void on_message(j_common_ptr /*common*/) {}

/// A progressive file may hold any number of scans over the whole picture; ten is usual.
void on_progress(j_common_ptr common) {
  constexpr int kMaxScans = 100;
  if (reinterpret_cast<j_decompress_ptr>(common)->input_scan_number > kMaxScans) on_error(common);
}

struct JpegReader {
  JpegReader() {
    info.err = jpeg_std_error(&errors.base);
    errors.base.error_exit = on_error;
    errors.base.output_message = on_message;
    progress.progress_monitor = on_progress;
  }
  JpegReader(const JpegReader&) = delete;
  JpegReader& operator=(const JpegReader&) = delete;
  ~JpegReader() { jpeg_destroy_decompress(&info); }

  Errors errors{};
  jpeg_decompress_struct info{};
  jpeg_progress_mgr progress{};
};

bool start(JpegReader& reader, std::span<const std::byte> bytes) {
  if (setjmp(reader.errors.back) != 0) return false;
  jpeg_create_decompress(&reader.info);
  reader.info.progress = &reader.progress;
  jpeg_mem_src(&reader.info, reinterpret_cast<const unsigned char*>(bytes.data()),
               static_cast<unsigned long>(bytes.size()));
  jpeg_read_header(&reader.info, TRUE);
  reader.info.out_color_space = reader.info.num_components == 1 ? JCS_GRAYSCALE : JCS_RGB;
  jpeg_start_decompress(&reader.info);
  return true;
}

bool read_row(JpegReader& reader, JSAMPROW row) {
  if (setjmp(reader.errors.back) != 0) return false;
  return jpeg_read_scanlines(&reader.info, &row, 1) == 1 && reader.errors.base.num_warnings == 0;
}

}  // namespace

GreyOrFault decode_jpeg(std::span<const std::byte> bytes, const PictureHeader& header) {
  JpegReader reader;
  if (!start(reader, bytes)) return tl::unexpected(PictureFault::kDamaged);
  if (reader.info.output_width != static_cast<JDIMENSION>(header.columns) ||
      reader.info.output_height != static_cast<JDIMENSION>(header.rows) ||
      reader.info.output_components > 3) {
    return tl::unexpected(PictureFault::kDamaged);
  }
  GreySamples samples;
  samples.channels = reader.info.output_components;
  samples.greys = GreyCount(255.0);
  samples.codes.reserve(static_cast<std::size_t>(header.columns) *
                        static_cast<std::size_t>(header.rows));
  std::vector<JSAMPLE> row(static_cast<std::size_t>(header.columns) *
                           static_cast<std::size_t>(samples.channels));
  for (int y = 0; y < header.rows; ++y) {
    if (!read_row(reader, row.data())) return tl::unexpected(PictureFault::kDamaged);
    append_grey_row(row.data(), header.columns, samples.channels, samples.codes, samples.greys);
  }
  return samples;
}

}  // namespace tidemark::film
