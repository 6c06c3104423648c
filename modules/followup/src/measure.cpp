#include "tidemark/migration/migration.h"
