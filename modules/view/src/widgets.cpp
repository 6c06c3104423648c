#include "widgets.h"

#include <QHeaderView>
#include <QPainter>
#include <QScrollBar>
#include <QStyledItemDelegate>
#include <QTableWidget>
#include <QTextBlock>
#include <QTextBrowser>

namespace tidemark::view {
namespace {

constexpr const char* kPage = "page";  ///< property: the HTML that is shown

/// Shows which cell of the chosen row the keys are on.
class CellFrame : public QStyledItemDelegate {
 public:
  using QStyledItemDelegate::QStyledItemDelegate;

  void paint(QPainter* painter, const QStyleOptionViewItem& option,
             const QModelIndex& index) const override {
    QStyledItemDelegate::paint(painter, option, index);
    if ((option.state & QStyle::State_HasFocus) == QStyle::State_None) return;
    const bool chosen = (option.state & QStyle::State_Selected) != QStyle::State_None;
    painter->save();
    painter->setPen(
        QPen(option.palette.color(chosen ? QPalette::HighlightedText : QPalette::Text), 2.0));
    painter->drawRect(option.rect.adjusted(2, 2, -2, -2));
    painter->restore();
  }
};

/// Puts the keys on a link of the page, if it is there.
void go_to_link(QTextBrowser* browser, const QString& link) {
  const QTextDocument* page = browser->document();
  for (QTextBlock block = page->begin(); block.isValid(); block = block.next()) {
    for (auto at = block.begin(); !at.atEnd(); ++at) {
      const QTextFragment piece = at.fragment();
      if (piece.charFormat().anchorHref() != link) continue;
      QTextCursor cursor(block);
      cursor.setPosition(piece.position());
      cursor.setPosition(piece.position() + piece.length(), QTextCursor::KeepAnchor);
      browser->setTextCursor(cursor);
      return;
    }
  }
}

}  // namespace

QTableWidget* table_in(QWidget* parent, const QString& name, const QString& spoken) {
  auto* table = new QTableWidget(parent);
  table->setObjectName(name);
  table->setAccessibleName(spoken);
  table->setEditTriggers(QAbstractItemView::NoEditTriggers);
  table->setSelectionBehavior(QAbstractItemView::SelectRows);
  table->setSelectionMode(QAbstractItemView::SingleSelection);
  table->setItemDelegate(new CellFrame(table));
  table->setWordWrap(true);
  table->setTabKeyNavigation(false);
  table->verticalHeader()->hide();
  return table;
}

QTextBrowser* browser_in(QWidget* parent, const QString& name, const QString& spoken) {
  auto* browser = new QTextBrowser(parent);
  browser->setObjectName(name);
  browser->setAccessibleName(spoken);
  browser->setOpenLinks(false);
  browser->setFrameShape(QFrame::NoFrame);
  return browser;
}

void show_page(QTextBrowser* browser, const QString& html) {
  if (browser->property(kPage).toString() == html) return;
  const QString link = link_at(browser);
  const int seen = browser->verticalScrollBar()->value();
  browser->setHtml(html);
  browser->setProperty(kPage, html);
  if (!link.isEmpty()) go_to_link(browser, link);
  browser->verticalScrollBar()->setValue(seen);
}

QString link_at(const QTextBrowser* browser) {
  QTextCursor cursor = browser->textCursor();
  if (!cursor.hasSelection()) return {};
  cursor.setPosition(cursor.selectionStart() + 1);  // the format of what stands before it
  return cursor.charFormat().anchorHref();
}

}  // namespace tidemark::view
