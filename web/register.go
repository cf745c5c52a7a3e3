package web

import (
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"evenstand/web/mvt"
)

// register lists all that can be asked for.
func (s *Server) register() {
	get(s, "/book", "book", "The logbook: where, when, what there is", s.bookInfo)
	get(s, "/worklist", "worklist", "What to do, grouped by when, ordered by money still to save", s.worklistView)
	get(s, "/findings/{id}", "finding", "One finding with all that is said of it", s.findingView)
	get(s, "/findings/{id}/course", "course", "Its measure through the day: its rows and the others", s.course)
	get(s, "/findings/{id}/strip", "strip", "The ground without seed of a finding, beside the neighbouring rows", s.strip)
	get(s, "/findings/{id}/ground", "findingGround", "The field of a finding about its ground: boundary, passes, what was not planted and what was twice", s.findingGround)
	operation(s, http.MethodPost, "/findings/{id}/decisions", "decide", "Record what was done about a finding, or take it back", s.decide)
	get(s, "/handover", "handOver", "What the next one at the wheel is told in a minute", s.handOver)
	get(s, "/balance", "balance", "Which setting to try next, for how long, why, and what each setting does", s.balance)
	get(s, "/changed", "changed", "What was done about findings and to rows, and whether it worked", s.changedView)
	get(s, "/cost", "cost", "What unevenness cost in a season, by cause, part, row, field and day", s.costSheet)
	get(s, "/walk", "walk", "Where to count plants in a field, in the order of walking", s.walkList)
	get(s, "/counts", "counts", "Plants counted on foot, and what they say of fields, of findings and of the farm", s.countSheet)
	operation(s, http.MethodPost, "/counts", "addCounts", "Keep counts; what comes twice stands once", s.addCounts)
	get(s, "/counts/zones", "countedZones", "The zones of a field by how it stands, for planting again", s.countedZones)
	operation(s, http.MethodPost, "/replant", "replant", "Weigh keeping a thin stand, filling it in and starting over; nothing is kept", s.replant)
	get(s, "/makeup", "makeUp", "What the next machine puts on where a product was missed, short or doubled", s.makeUp)
	s.makeUpFile()
	get(s, "/papers", "paperList", "Which papers there are, who gets what, and application records with what is missing", s.paperList)
	get(s, "/papers/{what}", "papers", "Papers in words, as they are printed", s.papers)
	s.paperFile()
	operation(s, http.MethodPost, "/papers/entries", "writePaper", "Write down elements of application records; what stood there before is kept", s.writePaper)
	get(s, "/give", "giveList", "What can be handed out as tables, with what their columns mean", s.giveList)
	s.give()
	get(s, "/passes", "passes", "The passes of a day or of all days", s.passList)
	get(s, "/pass", "pass", "One pass: its way, its quantities by stretches, the findings on it", s.passView)
	bytesOf(s, "/ribbon", "ribbonTile", "The marks of a tile of the ribbon, as columns", columnsMIME, s.ribbonTile)
	get(s, "/measures", "measures", "What rows and ground can be looked at by", s.measureList)
	get(s, "/rows", "rows", "The rows compared by one measure", s.rowsView)
	bytesOf(s, "/rows.csv", "rowsTable", "The same as a table", "text/csv", s.rowsCSV)
	get(s, "/trials", "trials", "Row trials: parts and settings that rows or passes had differently", s.trialList)
	get(s, "/trials/plan", "trialPlan", "How to try a part: rows, swap, passes, and what it will see", s.trialPlan)
	operation(s, http.MethodPatch, "/trials/part", "setPart", "Say what a part costs, how long it lasts, what it is for", s.setPart)
	operation(s, http.MethodPost, "/trials/mounted", "mount", "Write on a planter's card which rows carry a part since when, or take a mistake off", s.mount)
	get(s, "/trials/{trial}", "trial", "One row trial", s.trialView)
	bytesOf(s, "/trials/{trial}/rows.csv", "trialTable", "Its rows as a table", "text/csv", s.trialCSV)
	get(s, "/journal", "journal", "A day: what people wrote by hand, and what the boxes logged beside their measurements", s.journal)
	operation(s, http.MethodPost, "/journal", "writeNote", "Write a note down, or only say how it is understood", s.writeNote)
	operation(s, http.MethodPatch, "/journal/{id}", "editNote", "Correct a note; what it said before stays in the ledger", s.editNote)
	get(s, "/journal/{note}/history", "noteHistory", "A note as it was, the first writing first", s.noteHistory)
	operation(s, http.MethodDelete, "/journal/{id}", "takeBack", "Take a note back", s.takeBack)
	get(s, "/effects", "effects", "What each change of a setting did, and what settings do over the season", s.effects)
	get(s, "/ground", "ground", "The ground by one measure: legend, boundaries, passes, findings, fields", s.groundView)
	bytesOf(s, "/ground.csv", "groundTable", "Its fields as a table", "text/csv", s.groundCSV)
	get(s, "/ground/fields", "fieldsPlanted", "What was planted of each field: once, twice and not at all, by day and lot", s.fieldsPlanted)
	bytesOf(s, "/ground/fields.csv", "fieldsPlantedTable", "The same as a table", "text/csv", s.fieldsPlantedCSV)
	get(s, "/ground/patches", "patches", "Ground that was not planted and ground planted twice, as polygons, the largest first", s.patchesView)
	get(s, "/ground/at", "groundAt", "What is at a place", s.groundAt)
	versioned(s, "/ground/tiles/{measure}/{z}/{x}/{y}", "groundTile", "A vector tile of its cells", mvt.MIME, s.tileTag, s.groundTile)
	versioned(s, "/ground/picture", "groundPicture", "A first picture of its cells, as columns", columnsMIME, s.pictureTag, s.groundPicture)
	get(s, "/sources", "sources", "Every box: its grade, its clock, what it can tell, what to switch on", s.sourceList)
	operation(s, http.MethodPatch, "/sources", "setClock", "Say how far a box's clock is off, or take that back", s.setClock)
	get(s, "/settings", "settings", "Units, zone and prices as people write them", s.settings)
	operation(s, http.MethodPatch, "/settings", "setSettings", "Change some of them", s.setSettings)
	get(s, "/limits", "limits", "How the last day kept the limits that were set", s.limitList)
	get(s, "/cards", "cards", "The planters, to be drawn to scale", s.cardList)
	operation(s, http.MethodPatch, "/cards", "setCard", "Say what the logs leave open about a planter", s.setCard)
	get(s, "/imports", "imports", "What was brought in, newest first", s.importList)
	get(s, "/tables", "tables", "Tables that were brought and that no recipe reads", s.unknownTables)
	operation(s, http.MethodPost, "/recipes/propose", "propose", "What such a table is taken for, what is open, and how its first lines would be read", s.propose)
	operation(s, http.MethodPost, "/recipes", "keepRecipe", "Keep the recipe, and read what was brought by it", s.keepRecipe)
	get(s, "/recipes", "recipes", "How tables are read: a recipe for each kind", s.recipeList)
	operation(s, http.MethodPost, "/recipes/bring", "bringRecipe", "Take in a recipe that somebody gave", s.bringRecipe)
	operation(s, http.MethodDelete, "/recipes/{name}", "forgetRecipe", "Take a recipe out; the ledger keeps it", s.forgetRecipe)
	bytesOf(s, "/recipes/{name}/file", "recipeFile", "A recipe as a file to pass on", "application/toml", s.recipeText)
	get(s, "/relations", "relations", "The published relations behind money, with their sources", s.relationList)
	get(s, "/jobs", "jobs", "The work that runs and the last that ran", s.jobList)
	operation(s, http.MethodDelete, "/jobs/{id}", "stopJob", "Stop a piece of work; the logbook stays sound", s.stopJob)
	operation(s, http.MethodPost, "/settle", "settle", "Take up what was changed since the last reading", s.finish)
	operation(s, http.MethodPost, "/uploads", "beginUpload", "Open a place for files to be brought in", s.beginUpload)
	operation(s, http.MethodPost, "/uploads/{id}/read", "readUpload", "Read what was brought", s.readUpload)
	operation(s, http.MethodDelete, "/uploads/{id}", "dropUpload", "Give up what was brought", s.dropUpload)
	operation(s, http.MethodPost, "/screens", "newScreen", "Make a link for a second screen that may only look", s.newScreen)
	s.describeUpload()
	s.stream()
}

// describeUpload registers the one operation that takes bytes: they go to disk
// as they come, past the library, which would hold them in memory.
func (s *Server) describeUpload() {
	s.mux.HandleFunc("PUT "+base+"/uploads/{id}/file", s.put)
	text := &huma.Schema{Type: huma.TypeString}
	s.api.OpenAPI().AddOperation(&huma.Operation{
		OperationID: "putFile", Method: http.MethodPut, Path: base + "/uploads/{id}/file", Summary: "Bring one file, as it is, under its name within the folder",
		Parameters: []*huma.Param{
			{Name: "id", In: "path", Required: true, Schema: text},
			{Name: "path", In: "query", Required: true, Schema: text},
		},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/octet-stream": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}},
		Responses:   map[string]*huma.Response{"204": {Description: "It is there"}},
	})
}
