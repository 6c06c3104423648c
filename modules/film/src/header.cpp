#include "tidemark/film/header.h"

#include <array>
#include <exception>
#include <fstream>
#include <span>

#include "dicom_stream.h"
#include "dicom_tags.h"
#include "limits.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "words.h"

namespace tidemark::film {
namespace {

Expected<FilmHeader> header_of(const std::filesystem::path& file) {
  const std::string name = file.filename().string();
  const auto bytes = read_file(file, kMaxFilmBytes);
  if (!bytes) return tl::unexpected(bytes.error());
  if (bytes->empty()) return fail(ErrorKind::kBadInput, name, "an empty file", kExportAgain);
  if (!is_dicom(*bytes) && !may_be_dicom(*bytes)) {
    return fail(ErrorKind::kBadInput, name, "not a DICOM object", "leave it out");
  }
  auto parsed = parse_dicom(*bytes, name);
  if (!parsed) return tl::unexpected(parsed.error());
  DcmDataset& dataset = *(*parsed)->getDataset();
  FilmHeader header{.facts = facts_of(dataset),
                    .has_pixels = dataset.tagExists(DCM_PixelData) == OFTrue,
                    .patient_id = raw_text_of(dataset, DCM_PatientID),
                    .issuer = raw_text_of(dataset, DCM_IssuerOfPatientID),
                    .time = raw_text_of(dataset, DCM_AcquisitionTime)};
  if (!header.time) header.time = raw_text_of(dataset, DCM_ContentTime);
  header.facts.file = name;
  header.facts.sha256 = sha256_hex(*bytes);
  return header;
}

}  // namespace

Expected<FilmHeader> read_header(const std::filesystem::path& file) {
  try {
    return header_of(file);
  } catch (const std::exception& e) {
    return fail(ErrorKind::kBadInput, file.filename().string(),
                std::string("cannot be read (") + e.what() + ")", "leave it out");
  }
}

std::optional<bool> starts_like_dicom(const std::filesystem::path& file) {
  std::array<char, 132> head{};  // PS3.10 7.1: "DICM" after 128 bytes
  std::ifstream stream(file, std::ios::binary);
  if (!stream) return std::nullopt;
  stream.read(head.data(), head.size());
  const std::span<const char> seen(head.data(), static_cast<std::size_t>(stream.gcount()));
  const auto bytes = std::as_bytes(seen);
  return is_dicom(bytes) || may_be_dicom(bytes);
}

}  // namespace tidemark::film
