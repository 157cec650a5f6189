package report

import (
	"fmt"

	"retotal/ingest/site"
)

// approvalRecord says who stands for a correction.
type approvalRecord struct {
	Status     string           `json:"status"`
	Author     string           `json:"author,omitempty"`
	Reviewer   string           `json:"reviewer,omitempty"`
	Basis      string           `json:"basis,omitempty"`
	Evidence   []string         `json:"evidence,omitempty"`
	Examined   []examinedRecord `json:"examined_and_left_alone,omitempty"`
	Supersedes string           `json:"supersedes_sha256,omitempty"`
}

type examinedRecord struct {
	From   string `json:"from,omitempty"`
	Until  string `json:"until,omitempty"`
	Reason string `json:"reason"`
}

func newApproval(s *site.Site) *approvalRecord {
	r := s.Approval
	out := &approvalRecord{
		Status:     r.Status,
		Author:     r.Author,
		Reviewer:   r.Reviewer,
		Basis:      r.Basis,
		Evidence:   r.Evidence,
		Supersedes: r.Supersedes,
	}
	for _, e := range r.Examined {
		out.Examined = append(out.Examined, examinedRecord{utcOf(e.From), utcOf(e.Until), e.Reason})
	}
	return out
}

// utcOf writes an end of a span, which may be open.
func utcOf(at *site.Instant) string {
	if at == nil {
		return ""
	}
	return utc(at.UTC)
}

// words says how far a correction has come.
func (a *approvalRecord) words() string {
	if a == nil {
		return ""
	}
	return fmt.Sprintf("%s, author %s, reviewer %s", a.Status, orWord(a.Author, "-"), orWord(a.Reviewer, "-"))
}
