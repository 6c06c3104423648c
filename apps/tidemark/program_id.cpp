#include "program_id.h"

#include <elf.h>
#include <link.h>

#include <array>
#include <cstring>
#include <span>
#include <string_view>

#include "tidemark/core/hash.h"
#include "tidemark/followup/measure.h"

namespace tidemark::app {
namespace {

std::size_t padded(std::size_t size) { return (size + 3U) & ~std::size_t{3U}; }

/// Whose notes hold the build identifier; the name's closing zero counts.
constexpr std::array<char, 4> kGnu{'G', 'N', 'U', '\0'};

/// The build identifiers among the notes of one segment.
std::string identifiers_in(std::string_view notes) {
  std::string out;
  ElfW(Nhdr) head{};
  while (notes.size() >= sizeof head) {
    std::memcpy(&head, notes.data(), sizeof head);
    notes.remove_prefix(sizeof head);
    const std::size_t name = padded(head.n_namesz);
    const std::size_t content = padded(head.n_descsz);
    if (notes.size() < name + content) break;
    const bool is_gnu =
        notes.substr(0, head.n_namesz) == std::string_view(kGnu.data(), kGnu.size());
    if (is_gnu && head.n_type == NT_GNU_BUILD_ID) out += notes.substr(name, head.n_descsz);
    notes.remove_prefix(name + content);
  }
  return out;
}

int add_object(dl_phdr_info* object, std::size_t /*size*/, void* to) {
  // The kernel's own page is no part of the program.
  const std::string_view name = object->dlpi_name == nullptr ? "" : object->dlpi_name;
  if (name.find("vdso") != std::string_view::npos) return 0;
  for (const auto& segment : std::span(object->dlpi_phdr, object->dlpi_phnum)) {
    if (segment.p_type != PT_NOTE) continue;
    const auto* notes =
        reinterpret_cast<const char*>(object->dlpi_addr + segment.p_vaddr);  // NOLINT
    *static_cast<std::string*>(to) += identifiers_in({notes, segment.p_memsz});
  }
  return 0;
}

}  // namespace

std::string program_id() {
  // Once: libraries that others load while the program runs (fonts, character sets) are no part of
  // what measures.
  static const std::string id = [] {
    std::string identifiers;
    dl_iterate_phdr(add_object, &identifiers);
    return followup::version() + " " + sha256_hex(identifiers);
  }();
  return id;
}

}  // namespace tidemark::app
