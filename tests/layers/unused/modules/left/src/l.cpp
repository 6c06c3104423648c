#include "tidemark/film/b.h"
