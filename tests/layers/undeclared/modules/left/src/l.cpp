#include "tidemark/core/a.h"
#include "tidemark/film/b.h"
