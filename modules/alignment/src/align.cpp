#include "tidemark/alignment/align.h"
