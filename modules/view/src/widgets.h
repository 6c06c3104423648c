#pragma once

#include <QString>

class QTableWidget;
class QTextBrowser;
class QWidget;

namespace tidemark::view {

// Parts that several pages of the panel are made of.

/// A table to be read: chosen by rows; the cell under the keys has a frame.
/// @param name   for tests and style sheets
/// @param spoken for screen readers
[[nodiscard]] QTableWidget* table_in(QWidget* parent, const QString& name, const QString& spoken);

/// Words to be read.
[[nodiscard]] QTextBrowser* browser_in(QWidget* parent, const QString& name, const QString& spoken);

/// Shows a page of HTML. The same page again changes nothing; of another one the place that was
/// seen and the link under the keys stay where they can.
void show_page(QTextBrowser* browser, const QString& html);

/// The link that Tab has reached in a page; empty: none.
[[nodiscard]] QString link_at(const QTextBrowser* browser);

}  // namespace tidemark::view
