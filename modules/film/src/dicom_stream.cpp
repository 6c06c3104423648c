#include "dicom_stream.h"

#include <dcmtk/dcmdata/dcistrma.h>
#include <dcmtk/dcmdata/dcrledrg.h>
#include <dcmtk/dcmjpeg/djdecode.h>
#include <dcmtk/dcmjpls/djdecode.h>
#include <dcmtk/oflog/appender.h>
#include <dcmtk/oflog/spi/logevent.h>

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstring>
#include <mutex>

#include "limits.h"
#include "words.h"

namespace tidemark::film {
namespace {

/// Stack that nested sequences may use, of the 8 MiB a thread has. DCMTK recurses once a level.
constexpr std::ptrdiff_t kMaxStackBytes = std::ptrdiff_t{1} << 20U;
/// Reads that a header may take (three or four an element). Films have some hundred elements.
constexpr std::int64_t kMaxReads = 100'000;

/// A stream over bytes in memory that runs dry when the parser goes deeper, longer or wider than
/// any film needs. DCMTK then stops as it does at the end of a file.
class GuardedStream final : public DcmInputStream {
 public:
  explicit GuardedStream(std::span<const std::byte> bytes)
      : DcmInputStream(&producer_), stack_start_(here()) {
    producer_.setBuffer(bytes.data(), static_cast<offile_off_t>(bytes.size()));
    producer_.setEos();
  }

  offile_off_t read(void* buffer, offile_off_t length) override {
    const offile_off_t left = static_cast<offile_off_t>(kMaxFilmBytes) - tell();
    if (++reads_ > kMaxReads || std::abs(here() - stack_start_) > kMaxStackBytes || left <= 0) {
      tripped_ = true;
    }
    if (tripped_) return 0;
    const offile_off_t got = DcmInputStream::read(buffer, std::min(length, left));
    tripped_ = length > left && got == left;
    ran_dry_ = ran_dry_ || got < length;
    return got;
  }
  [[nodiscard]] OFBool good() const override { return !tripped_ && DcmInputStream::good(); }
  [[nodiscard]] OFCondition status() const override {
    return tripped_ ? EC_CorruptedData : DcmInputStream::status();
  }
  OFBool eos() override { return tripped_ || DcmInputStream::eos(); }
  [[nodiscard]] DcmInputStreamFactory* newFactory() const override { return nullptr; }
  [[nodiscard]] bool tripped() const { return tripped_; }
  [[nodiscard]] bool ran_dry() const { return ran_dry_; }

 private:
  [[nodiscard]] static std::ptrdiff_t here() {
    return reinterpret_cast<std::ptrdiff_t>(__builtin_frame_address(0));
  }

  DcmBufferProducer producer_;
  std::ptrdiff_t stack_start_;
  std::int64_t reads_ = 0;
  bool tripped_ = false;
  bool ran_dry_ = false;  ///< fewer bytes were left than the parser asked for
};

thread_local std::size_t jpeg_warnings = 0;

/// Counts what a log is told, by thread, and prints nothing of it: films are read in parallel, and
/// the log is the process's.
class Counter final : public dcmtk::log4cplus::Appender {
 public:
  Counter() = default;
  Counter(const Counter&) = delete;
  Counter& operator=(const Counter&) = delete;
  ~Counter() override { destructorImpl(); }
  void close() override { closed = true; }

 protected:
  void append(const dcmtk::log4cplus::spi::InternalLoggingEvent& /*event*/) override {
    ++jpeg_warnings;
  }
};

/// The decoder's warnings go to the counter and no further.
void count_jpeg_warnings() {
  auto log = dcmtk::log4cplus::Logger::getInstance("dcmtk.dcmjpeg");
  log.setLogLevel(OFLogger::WARN_LOG_LEVEL);
  log.setAdditivity(false);
  log.addAppender(dcmtk::log4cplus::SharedAppenderPtr(new Counter));
}

bool says(std::span<const std::byte> bytes, std::size_t at, const char* text) {
  const std::size_t n = std::strlen(text);
  return bytes.size() >= at + n && std::memcmp(bytes.data() + at, text, n) == 0;
}

}  // namespace

void prepare_dcmtk() {
  static std::once_flag once;
  std::call_once(once, [] {
    OFLog::configure(OFLogger::OFF_LOG_LEVEL);  // its warnings can hold a patient's data
    count_jpeg_warnings();
    DcmRLEDecoderRegistration::registerCodecs();
    DJDecoderRegistration::registerCodecs(EDC_photometricInterpretation, EUC_default,
                                          EPC_colorByPixel);
    DJLSDecoderRegistration::registerCodecs(EJLSUC_default, EJLSPC_colorByPixel);
  });
}

std::size_t jpeg_warnings_here() { return jpeg_warnings; }

bool is_dicom(std::span<const std::byte> bytes) {
  return says(bytes, 128, "DICM") || says(bytes, 0, "DICM");
}

bool may_be_dicom(std::span<const std::byte> bytes) {
  if (bytes.size() < 8) return false;
  const auto u = [&](std::size_t i) { return std::to_integer<unsigned>(bytes[i]); };
  const auto plausible = [](unsigned group, unsigned element) {
    if (group == 0x0008U) return element <= 0x0070U;
    return (group == 0x0002U || group == 0x0004U) && element <= 0x0018U;
  };
  const bool little = plausible(u(0) | (u(1) << 8U), u(2) | (u(3) << 8U));
  const bool big = plausible(u(1) | (u(0) << 8U), u(3) | (u(2) << 8U));
  return little || big;
}

namespace {

using Parsed = std::unique_ptr<DcmFileFormat>;

/// The data set behind a file meta header whose length is told as it should be; nothing otherwise.
std::span<const std::byte> without_meta(std::span<const std::byte> bytes) {
  constexpr std::size_t kLengthAt = 128 + 4;
  constexpr std::size_t kRestAt = kLengthAt + 12;
  constexpr std::array kLength{std::byte{2},   std::byte{0},   std::byte{0}, std::byte{0},
                               std::byte{'U'}, std::byte{'L'}, std::byte{4}, std::byte{0}};
  if (!says(bytes, 128, "DICM") || bytes.size() < kRestAt) return {};
  if (!std::equal(kLength.begin(), kLength.end(), bytes.begin() + kLengthAt)) return {};
  std::size_t length = 0;
  for (std::size_t i = kRestAt; i-- > kRestAt - 4;) {
    length = length << 8U | std::to_integer<std::size_t>(bytes[i]);
  }
  return length < bytes.size() - kRestAt ? bytes.subspan(kRestAt + length)
                                         : std::span<const std::byte>{};
}

Expected<Parsed> parsed(std::span<const std::byte> bytes, const std::string& name) {
  auto file = std::make_unique<DcmFileFormat>();
  GuardedStream stream(bytes);
  file->transferInit();
  const OFCondition status = file->read(stream, EXS_Unknown, EGL_noChange, DCM_MaxReadLength);
  file->transferEnd();
  if (stream.tripped()) {
    return fail(ErrorKind::kBadInput, name, "a DICOM header larger or deeper than any film has",
                "export the film again");
  }
  if (status.bad() && stream.ran_dry()) {
    return fail(ErrorKind::kBadInput, name, cut_off(bytes.size()), kExportAgain);
  }
  if (status.bad()) {
    return fail(ErrorKind::kBadInput, name,
                "a damaged DICOM file (" + std::string(status.text()) + ")", kExportAgain);
  }
  return file;
}

}  // namespace

Expected<Parsed> parse_dicom(std::span<const std::byte> bytes, const std::string& name) {
  prepare_dcmtk();
  if (!says(bytes, 128, "DICM") && says(bytes, 0, "DICM")) bytes = bytes.subspan(4);
  auto file = parsed(bytes, name);
  if (file) return file;
  // Some writers name an encoding in the meta header that the data set does not have: without the
  // header DCMTK looks for itself. What is compressed cannot be read so.
  const auto dataset = without_meta(bytes);
  if (dataset.empty() || !may_be_dicom(dataset)) return file;
  auto again = parsed(dataset, name);
  if (again && (*again)->getDataset()->tagExists(DCM_PixelData)) return again;
  return file;
}

}  // namespace tidemark::film
