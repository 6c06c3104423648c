#include "tidemark/view/run.h"

#include <QApplication>
#include <clocale>
#include <cstdlib>
#include <exception>
#include <iostream>
#include <string>
#include <system_error>
#include <vector>

#include "review_window.h"
#include "tidemark/core/freed_memory.h"
#include "tidemark/core/text.h"
#include "tidemark/followup/measure.h"

namespace tidemark::view {
namespace {

constexpr int kWrongUsage = 2;
constexpr int kOurFault = 70;

constexpr const char* kUsage =
    "Usage: tidemark-review [FOLDER | FILM ...]\n\n"
    "Opens the films of one hip: what was measured on them, what it means by published\n"
    "criteria, and every point to be put right by hand. Corrections go to FOLDER/series.json\n"
    "when they are saved; films are never written. See tidemark-review(1).\n";

bool has_display() {
  for (const char* name : {"DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"}) {
    const char* value = std::getenv(name);
    if (value != nullptr && *value != '\0') return true;
  }
  return false;
}

}  // namespace

int run(int argc, char** argv) {
  std::vector<std::filesystem::path> paths;
  for (int i = 1; i < argc; ++i) {
    const std::string word = argv[i];
    if (word == "--help") {
      std::cout << kUsage;
      return 0;
    }
    if (word == "--version") {
      std::cout << "tidemark-review " << followup::version() << "\n";
      return 0;
    }
    if (word.starts_with("-")) {
      std::cerr << "tidemark-review: " << word
                << ": there is no such option; see: tidemark-review --help\n";
      return kWrongUsage;
    }
    std::error_code error;
    paths.push_back(std::filesystem::absolute(word, error));
    if (word.empty() || error) {
      std::cerr << "tidemark-review: \"" << printable(word)
                << "\": there is no such folder or film; see: tidemark-review --help\n";
      return kWrongUsage;
    }
  }
  if (!has_display()) {
    std::cerr << "tidemark-review: there is no display to show a window on; start it in a desktop "
                 "session, or use: tidemark measure\n";
    return kWrongUsage;
  }
  keep_freed_memory();
  try {
    QApplication::setAttribute(Qt::AA_EnableHighDpiScaling);
    QApplication app(argc, argv);
    // Qt has taken the desktop's locale; numbers in files are written with a point everywhere.
    std::setlocale(LC_NUMERIC, "C");
    QApplication::setApplicationName("tidemark-review");
    QApplication::setApplicationVersion(QString::fromStdString(followup::version()));
    ReviewWindow window(journal_folder());
    window.show();
    window.open_these(paths);
    return QApplication::exec();
  } catch (const std::exception& e) {
    std::cerr << "tidemark-review: fault of the program: " << e.what()
              << "; please report it. Unsaved corrections are kept\n";
    return kOurFault;
  }
}

}  // namespace tidemark::view
