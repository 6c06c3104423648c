#pragma once

#include <string>

#include "tidemark/core/geometry.h"
#include "tidemark/report/drawing.h"

namespace tidemark::report {

/// The marks of a drawing as SVG elements, to stand inside of an <svg> whose view box is that of
/// the drawing. SVG 1.1, presentation attributes only.
[[nodiscard]] std::string svg_marks(const Drawing& drawing);

/// "M1 2L3 4": the d attribute of an open path.
[[nodiscard]] std::string svg_path(const Polyline& points);

/// At most two decimals, a point, no exponent, whatever the locale.
[[nodiscard]] std::string svg_number(double value);

/// Text with the characters escaped that mean something in markup.
[[nodiscard]] std::string escaped(const std::string& text);

}  // namespace tidemark::report
