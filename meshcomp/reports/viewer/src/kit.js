// The page of a kit: its tables are sorted by any column. All else needs no script.

import { sortTables } from "./table.js";

sortTables();
